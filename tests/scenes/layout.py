"""Where parts and clutter lie on the bench, and where the camera stands to see them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.scenes.clutter import Thing
from tests.scenes.geometry import Pinhole, Pose, look_at
from tests.scenes.mesh import band_point
from tests.scenes.skin import BandShape, PlateShape

Array = NDArray[np.float64]
Shape = PlateShape | BandShape

AIR = 0.03  # mm between a plate and the one it leans on
NEAR_ENOUGH = 0.05  # of the share of the frame that is asked for


def yaw(angle_deg: float) -> Array:
    """Rotation (3, 3) about z, anticlockwise seen from above."""
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])


def about(axis: Array, angle: float) -> Array:
    """Rotation (3, 3) by ``angle`` radians about a unit axis (Rodrigues)."""
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * (k @ k)


def reach(shape: Shape) -> float:
    """Radius in mm that a part needs."""
    return shape.reach if isinstance(shape, PlateShape) else shape.length_mm / 2


def row(
    rng: Generator, shapes: Sequence[PlateShape], direction: Array, gap_mm: float, wave: float
) -> list[Pose]:
    """Plates lying flat one after the other along ``direction`` (2,), off line by up to ``wave`` radii."""
    side = np.array([-direction[1], direction[0]])
    at, poses = 0.0, []
    for k, shape in enumerate(shapes):
        at += shape.reach + (shapes[k - 1].reach + gap_mm * rng.uniform(0.6, 1.4) if k else 0.0)
        xy = at * direction + rng.uniform(-wave, wave) * shape.reach * side
        poses.append(Pose(yaw(rng.uniform(0, 360)), np.array([*xy, 0.0])))
    return poses


def leaning_row(
    rng: Generator, shapes: Sequence[PlateShape], direction: Array, overlap: float, first_on_top: bool
) -> list[Pose]:
    """Plates overlapping by ``overlap`` of a diameter, each leaning on the one before it.

    A plate that rests on its neighbour's rim and on the bench is tilted by the angle whose sine is the
    neighbour's thickness over the distance between their far rims; parallel neighbours touch at the same
    angle.
    """
    shapes = list(reversed(shapes)) if first_on_top else list(shapes)
    ahead = -direction if first_on_top else direction
    side = np.array([-ahead[1], ahead[0], 0.0])
    at, poses = 0.0, []
    for k, shape in enumerate(shapes):
        tilt = 0.0
        if k:
            last = shapes[k - 1]
            step = (last.reach + shape.reach) * (1 - overlap * rng.uniform(0.75, 1.0))
            at += step
            far = step + shape.reach - last.reach
            tilt = float(np.arcsin((last.thickness_mm + AIR) / far))
        turn = about(side, tilt) @ yaw(rng.uniform(0, 360))
        off = rng.uniform(-0.05, 0.05) * shape.reach * side
        poses.append(Pose(turn, np.array([*(at * ahead), shape.reach * np.sin(tilt)]) + off))
    return poses[::-1] if first_on_top else poses


def centred(poses: Sequence[Pose], shapes: Sequence[Shape]) -> list[Pose]:
    """The same layout, the middle of its upright box at the bench's origin."""
    low = np.min([p.shift[:2] - reach(s) for p, s in zip(poses, shapes, strict=True)], axis=0)
    high = np.max([p.shift[:2] + reach(s) for p, s in zip(poses, shapes, strict=True)], axis=0)
    middle = np.array([*((low + high) / 2), 0.0])
    return [Pose(p.rotation, p.shift - middle) for p in poses]


def outline_points(pose: Pose, shape: Shape) -> Array:
    """Bench points (N, 3) round a part, for framing."""
    if isinstance(shape, BandShape):
        along = np.tile(np.linspace(-shape.length_mm / 2, shape.length_mm / 2, 15), 2)
        across = np.repeat([-shape.width_mm / 2, shape.width_mm / 2], 15)
        return pose.apply(np.c_[band_point(shape, along, across), np.zeros(30)])
    a = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    return pose.apply(
        np.c_[shape.reach * np.cos(a), shape.reach * np.sin(a), np.full(24, shape.thickness_mm)]
    )


def framed(
    points: Array,
    size: tuple[int, int],
    focal_px: float,
    slant_deg: float,
    turn_deg: float,
    roll_deg: float,
    fill: float,
    off_centre: tuple[float, float],
) -> Pinhole:
    """A camera that sees ``points`` (N, 3) fill ``fill`` of the frame, their middle off by a share of it.

    Raises RuntimeError where none does.
    """
    frame = np.array(size, float)

    def from_start(distance: float) -> Pinhole:
        target = points.mean(axis=0) * [1, 1, 0]
        for _ in range(12):
            camera = look_at(target, distance, slant_deg, turn_deg, roll_deg, size, focal_px)
            xy = camera.project(points)
            low, high = xy.min(axis=0), xy.max(axis=0)
            distance *= float(((high - low) / frame).max()) / fill
            miss = (low + high) / 2 - frame * (0.5 + np.array(off_centre))
            right, down = camera.rotation[0], camera.rotation[1]
            scale = distance / focal_px
            shift = miss[0] * scale * right + miss[1] * scale * down
            target = target + np.array([shift[0], shift[1] / max(np.cos(np.deg2rad(slant_deg)), 0.5), 0.0])
        return look_at(target, distance, slant_deg, turn_deg, roll_deg, size, focal_px)

    # From the nearer start a long row may reach behind the camera, where the search goes astray.
    for camera in map(from_start, (600.0, 2400.0)):
        in_front = ((points - camera.centre) @ camera.rotation.T)[:, 2] > 0
        filled = float((np.ptp(camera.project(points), axis=0) / frame).max())
        if in_front.all() and abs(filled / fill - 1) < NEAR_ENOUGH:
            return camera
    raise RuntimeError("no camera sees all of the bench that is asked for")


def on_bench(camera: Pinhole, xy: Array) -> Array:
    """Bench point (3,) seen at pixel ``xy``."""
    ray = camera.rotation.T @ np.linalg.solve(camera.matrix, np.array([xy[0], xy[1], 1.0]))
    return camera.centre - ray * (camera.centre[2] / ray[2])


def beside(rng: Generator, poses: Sequence[Pose], shapes: Sequence[Shape], thing: Thing, side: str) -> Pose:
    """A place for a sheet or card just outside the group, on one ``side`` of it."""
    low = np.min([p.shift[:2] - reach_box(p, s) for p, s in zip(poses, shapes, strict=True)], axis=0)
    high = np.max([p.shift[:2] + reach_box(p, s) for p, s in zip(poses, shapes, strict=True)], axis=0)
    vertices = thing.pieces[0][0].vertices
    half = (vertices.max(axis=0) - vertices.min(axis=0))[:2] / 2
    where = rng.uniform(0.25, 0.75)
    along = low + (high - low) * where
    xy = {
        "top": np.array([along[0], high[1] + half[1] + 6]),
        "bottom": np.array([along[0], low[1] - half[1] - 6]),
        "left": np.array([low[0] - half[0] - 6, along[1]]),
        "right": np.array([high[0] + half[0] + 6, along[1]]),
    }[side]
    return Pose(yaw(rng.uniform(-9, 9)), np.array([*xy, 0.0]))


def reach_box(pose: Pose, shape: Shape) -> Array:
    """Half extent (2,) of the upright box round a part's place that it stays within."""
    if isinstance(shape, PlateShape):
        return np.array([shape.reach, shape.reach])
    return np.abs(outline_points(pose, shape) - pose.shift)[:, :2].max(axis=0)


def scattered(
    rng: Generator,
    things: Sequence[Thing],
    camera: Pinhole,
    taken: list[tuple[Array, Array]],
    holes: Sequence[tuple[Array, float]],
) -> list[Pose | None]:
    """Free places in the picture for ``things``; None where none was found.

    ``taken`` are boxes (centre (2,), half extent (2,)) and grows; ``holes`` are (centre, radius) of bare
    bench inside plates, where small things may lie.
    """
    places: list[Pose | None] = []
    for thing in things:
        pose = None
        roomy = [hole for hole in holes if hole[1] > thing.reach + 3]
        if roomy and rng.random() < 0.15:
            centre, radius = roomy[int(rng.integers(len(roomy)))]
            angle, r = rng.uniform(0, 2 * np.pi), rng.uniform(0, radius - thing.reach - 2)
            xy = centre + r * np.array([np.cos(angle), np.sin(angle)])
            if _free(xy, np.full(2, thing.reach), taken[len(holes) :]):
                pose = Pose(yaw(rng.uniform(0, 360)), np.array([*xy, 0.0]))
        for _ in range(0 if pose else 80):
            pixel = rng.uniform(-0.03, 1.03, 2) * [camera.width, camera.height]
            xy = on_bench(camera, pixel)[:2]
            if _free(xy, np.full(2, thing.reach), taken):
                pose = Pose(yaw(rng.uniform(0, 360)), np.array([*xy, 0.0]))
                break
        if pose is not None:
            taken.append((pose.shift[:2], np.full(2, thing.reach)))
        places.append(pose)
    return places


def _free(xy: Array, half: Array, taken: Sequence[tuple[Array, Array]]) -> bool:
    return all(bool((np.abs(xy - at) > half + room + 4).any()) for at, room in taken)
