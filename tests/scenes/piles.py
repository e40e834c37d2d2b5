"""Plates that lie on, in and behind each other: fanned, stacked, seen through a hole, in a drum, on edge.

Lengths are millimetres. Poses are near what gravity allows: no two plates run into each other.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.random import Generator

from tests.scenes.clutter import OXIDE, STEEL, Finish, Thing
from tests.scenes.geometry import Pose
from tests.scenes.layout import AIR, about, yaw
from tests.scenes.mesh import Array, grid_mesh
from tests.scenes.skin import PlateShape
from tests.scenes.solids import lathe, washer_profile

FAN, STACK, THROUGH, DRUM, ON_EDGE = LAYOUTS = ("fan", "stack", "through", "drum", "on edge")
ALUMINIUM = Finish((0.60, 0.60, 0.61), 0.38, 1.0)
DRUM_WALL, SLOT = 4.5, 0.9  # thickness; how much deeper a slot is than the tooth in it


def placed(
    rng: Generator, layout: str, shapes: Sequence[PlateShape], ahead: Array
) -> tuple[list[Pose], list[tuple[Thing, Pose]]]:
    """Where plates lie in one of `LAYOUTS`, and what holds them.

    Parameters
    ----------
    shapes
        In the order of the row that they make; in a stack and a drum the last lies on top.
    ahead
        Direction (2,) of that row.
    """
    if layout == DRUM:
        return _in_drum(rng, shapes)
    if layout == ON_EDGE:
        return _on_edge(rng, shapes, ahead), []
    poses: list[Pose] = []
    at, heading = np.zeros(2), np.arctan2(ahead[1], ahead[0])
    bow = rng.uniform(-0.22, 0.22) if layout == FAN else 0.0
    for k, shape in enumerate(shapes):
        if k:
            share = {FAN: (0.4, 0.75), STACK: (0.02, 0.16), THROUGH: (0.5, 0.95)}[layout]
            step = rng.uniform(*share) * shape.reach
            turn = rng.uniform(0, 2 * np.pi) if layout == STACK else heading
            at = at + step * np.array([np.cos(turn), np.sin(turn)])
            heading += bow
        tilt = 0.0
        if k and layout != STACK:  # it rests on its neighbour and, with its far side, on the bench
            last = shapes[k - 1]
            tilt = float(np.arcsin((last.thickness_mm + AIR) / (step + shape.reach - last.reach + 1e-6)))
        side = np.array([-np.sin(heading), np.cos(heading), 0.0])
        rotation = about(side, min(tilt, 0.12)) @ yaw(rng.uniform(0, 360))
        poses.append(lifted(Pose(rotation, np.array([*at, 0.0])), shape, poses, shapes))
    return poses, []


def lifted(pose: Pose, shape: PlateShape, below: Sequence[Pose], shapes: Sequence[PlateShape]) -> Pose:
    """The same pose, raised until the plate touches neither the bench nor a plate below it."""
    angle, radius = np.meshgrid(np.arange(360) * np.pi / 180, np.linspace(0.3 * shape.reach, shape.reach, 40))
    flat = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(angle.shape)], -1).reshape(
        -1, 3
    )
    under, upper = pose.apply(flat), pose.apply(flat + np.array([0.0, 0.0, shape.thickness_mm]))
    need = -float(min(under[:, 2].min(), upper[:, 2].min()))
    for other, plate in zip(below, shapes, strict=False):
        local = other.undo(under)
        far = np.hypot(local[:, 0], local[:, 1])
        least = plate.core_inner_r - (plate.tooth_depth if plate.teeth == "inner" else 0.0)
        over = (far < plate.reach) & (far > least)
        if over.any():
            need = max(need, float((plate.thickness_mm + AIR - local[over, 2]).max()))
    return Pose(pose.rotation, pose.shift + np.array([0.0, 0.0, need]))


def _in_drum(rng: Generator, shapes: Sequence[PlateShape]) -> tuple[list[Pose], list[tuple[Thing, Pose]]]:
    """A pack in its drum, seen through the open end."""
    height, poses = rng.uniform(3, 14), []
    for shape in shapes:
        poses.append(Pose(yaw(rng.uniform(0, 360)), np.array([*rng.normal(0, 0.15, 2), height])))
        height += shape.thickness_mm + AIR
    things = [(drum(rng, shapes, height), Pose(np.eye(3), np.zeros(3)))]
    if rng.random() < 0.5:
        bore = min(s.core_inner_r - (s.tooth_depth if s.teeth == "inner" else 0.0) for s in shapes)
        things.append((hub(rng, bore, height), Pose(np.eye(3), np.zeros(3))))
    return poses, things


def drum(rng: Generator, shapes: Sequence[PlateShape], height: float) -> Thing:
    """A clutch drum, open end up, its wall slotted for the plates with outer teeth."""
    toothed = [s for s in shapes if s.teeth == "outer"]
    slots = toothed[0].n_teeth if toothed else int(rng.integers(10, 36))
    tip = max(s.reach for s in shapes) + SLOT
    root = max([s.core_outer_r for s in toothed] + [s.reach for s in shapes if s.teeth == "inner"]) + SLOT
    tall = height + rng.uniform(2, 16)
    turn = np.arange(16 * slots) * 2 * np.pi / (16 * slots)
    inside = np.where(np.arange(16 * slots) % 16 < 8, tip, max(root, tip - 5.0))

    def ring(radius: Array | float, z: float) -> Array:
        wide = np.broadcast_to(radius, turn.shape)
        return np.stack([wide * np.cos(turn), -wide * np.sin(turn), np.full(turn.shape, z)], 1)

    outer = tip + DRUM_WALL
    wall = grid_mesh(
        np.stack(
            [
                ring(outer, 0.0),
                ring(outer, tall - 1),
                ring(outer - 1, tall),
                ring(inside, tall),
                ring(inside, 0.6),
            ]
        ),
        closed=True,
    )
    floor = lathe(washer_profile(0.25 * tip, tip + 1, 0.7, 0.1))
    finish = [STEEL, ALUMINIUM, OXIDE][int(rng.choice(3, p=[0.5, 0.35, 0.15]))]
    return Thing("drum", ((wall, finish), (floor, finish)), outer)


def hub(rng: Generator, bore: float, height: float) -> Thing:
    """What stands in the middle of a drum: a shaft, or a wide hub inside the plates."""
    r = bore * (rng.uniform(0.85, 0.95) if rng.random() < 0.4 else rng.uniform(0.2, 0.6))
    tall = height + rng.uniform(-4, 22)
    body = lathe(washer_profile(r * rng.uniform(0.3, 0.8), r, max(tall, 4.0), 1.0))
    return Thing("hub", ((body, [STEEL, OXIDE][int(rng.integers(2))]),), r)


def _on_edge(rng: Generator, shapes: Sequence[PlateShape], ahead: Array) -> list[Pose]:
    """All but the last plate flat in a row, the last standing on its rim."""
    at, poses = 0.0, []
    for k, shape in enumerate(shapes):
        standing = k == len(shapes) - 1
        room = 0.35 * shape.reach if standing else shape.reach
        at += room + (rng.uniform(6, 16) if k else 0.0)
        if standing:
            # Its rim points along the row's side or nearly so, and it leans a little.
            lean, twist = np.radians(rng.uniform(84, 96)), rng.normal(0, 0.15)
            turned = yaw(float(np.degrees(np.arctan2(ahead[1], ahead[0]) + twist)))
            rotation = turned @ about(np.array([0.0, 1.0, 0.0]), float(lean)) @ yaw(rng.uniform(0, 360))
            poses.append(lifted(Pose(rotation, np.array([*(at * ahead), 0.0])), shape, [], []))
        else:
            poses.append(Pose(yaw(rng.uniform(0, 360)), np.array([*(at * ahead), 0.0])))
        at += room
    return poses
