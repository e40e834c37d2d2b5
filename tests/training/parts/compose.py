"""Put random parts, clutter, light and camera together into one scene to train on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator

from tests.scenes import layout, piles
from tests.scenes.any_board import random_board
from tests.scenes.bench import Lamp, Light, room_around
from tests.scenes.clutter import NEUTRALS, OTHER_THINGS, Finish, Thing, rag
from tests.scenes.colours import lab_to_linear_srgb
from tests.scenes.geometry import Pinhole, Pose
from tests.scenes.linings import Lining, drawn_lining
from tests.scenes.look import Look
from tests.scenes.make import make_clean_skin, make_skin, reachable_levels
from tests.scenes.mesh import Array, band_solid, grid_mesh, plate_solid
from tests.scenes.render import PlacedPart, Stage, bench_mesh, edge_finishes
from tests.scenes.round_things import ALL_THINGS
from tests.scenes.shapes import random_band_shape, random_plate_shape
from tests.scenes.skin import BAND, FRICTION, REACTION, STEEL, BandShape, PlateShape, Skin
from tests.training.parts.gbuffer import Surface
from tests.training.parts.labels import BAND_LINING, BENCH, CLUTTER, SHEET, SIZE, STRAP, TEETH
from tests.training.parts.ring_things import RING_THINGS

FIRST_LINING = 100_000  # numbers of drawn linings from here on are for training
FINER = 1.5  # rays a pixel of the network's picture, along each side
LAYOUTS = {
    "none": 0.17,
    "single": 0.16,
    "row": 0.16,
    "leaning": 0.10,
    "fan": 0.08,
    "heap": 0.07,
    "nested": 0.04,
    "propped": 0.03,
    "band": 0.08,
    "closed band": 0.04,
    "stack": 0.03,
    "through": 0.05,
    "drum": 0.07,
    "on edge": 0.10,
}
NUMBER = {"single": (1, 2), "on edge": (1, 4), "through": (2, 4), "stack": (2, 6), "drum": (1, 6)}  # from, to
Shape = PlateShape | BandShape


@dataclass(frozen=True, slots=True, eq=False)
class Composition:
    """A scene to trace, and its parts for the labels."""

    surfaces: tuple[Surface, ...]
    camera: Pinhole
    light: Light
    parts: tuple[PlacedPart, ...]


def compose(rng: Generator) -> Composition:
    """A scene by chance."""
    kind = str(rng.choice(list(LAYOUTS), p=np.array(list(LAYOUTS.values())) / sum(LAYOUTS.values())))
    shapes, kinds = _shapes(rng, kind)
    poses, held = _poses(rng, kind, shapes)
    camera = _camera(rng, poses, shapes)
    parts = tuple(
        PlacedPart(s, _skin(rng, k, s, camera, p), p) for s, k, p in zip(shapes, kinds, poses, strict=True)
    )
    surfaces = [surface for n, part in enumerate(parts) for surface in _part_surfaces(part, n)]
    if kind == "closed band":
        surfaces += _closed_band(rng)
    surfaces += [Surface(mesh, at, finish, CLUTTER) for thing, at in held for mesh, finish in thing.pieces]
    surfaces += _clutter(
        rng, camera, poses, shapes, kind, [(at.shift[:2], thing.reach) for thing, at in held]
    )
    surfaces.append(_bench(rng, camera))
    return Composition(tuple(surfaces), camera, _light(rng, camera), parts)


def _shapes(rng: Generator, kind: str) -> tuple[list[Shape], list[str]]:
    if kind in ("none", "closed band"):
        return [], []
    if kind == "band":
        return [random_band_shape(rng)], [BAND]
    base = random_plate_shape(rng, FRICTION, outer_r=float(rng.uniform(32, 95)))
    n = int(rng.integers(*NUMBER.get(kind, (2, 9))))
    steels = float(rng.choice([0.0, 0.5, 1.0], p=[0.4, 0.35, 0.25]))
    kinds = [STEEL if rng.random() < steels else FRICTION for _ in range(n)]
    if rng.random() < 0.12:
        kinds[-1] = REACTION
    by_kind = {FRICTION: base} | {k: random_plate_shape(rng, k, like=base) for k in (STEEL, REACTION)}
    shapes: list[Shape] = [by_kind[k] for k in kinds]
    if kind in ("heap", "nested") and rng.random() < 0.6:  # of two packs
        other = random_plate_shape(rng, FRICTION, outer_r=float(rng.uniform(32, 95)))
        shapes = [
            other if k == FRICTION and rng.random() < 0.5 else s for k, s in zip(kinds, shapes, strict=True)
        ]
    if kind == "nested":
        small = random_plate_shape(rng, FRICTION, outer_r=0.62 * base.core_inner_r)
        kinds, shapes = [FRICTION, FRICTION], [base, small]
    return shapes, kinds


def _poses(rng: Generator, kind: str, shapes: list[Shape]) -> tuple[list[Pose], list[tuple[Thing, Pose]]]:
    """Where the parts lie, and what holds them."""
    if not shapes:
        return [], []
    plates = [s for s in shapes if isinstance(s, PlateShape)]
    turn = rng.uniform(0, 2 * np.pi)
    ahead = np.array([np.cos(turn), np.sin(turn)])
    held: list[tuple[Thing, Pose]] = []
    if kind in ("stack", "through", "drum", "on edge"):
        poses, held = piles.placed(rng, kind, plates, ahead)
    elif kind == "leaning":
        poses = layout.leaning_row(rng, plates, ahead, rng.uniform(0.1, 0.55), bool(rng.random() < 0.5))
    elif kind == "row":
        poses = layout.row(rng, plates, ahead, rng.uniform(1, 25), rng.uniform(0, 0.5))
        if len(plates) > 4 and rng.random() < 0.5:  # two rows
            half = len(plates) // 2
            side = np.array([-ahead[1], ahead[0], 0]) * 2.2 * plates[0].reach
            back = poses[half].shift - poses[0].shift
            poses = poses[:half] + [Pose(p.rotation, p.shift - back + side) for p in poses[half:]]
    elif kind in ("fan", "heap"):
        poses = _piled(
            rng,
            plates,
            spread=rng.uniform(0.25, 1.1) if kind == "fan" else rng.uniform(0.9, 1.8),
            fan=kind == "fan",
        )
    elif kind == "nested":
        off = rng.uniform(-3, 3, 2)
        poses = [Pose(layout.yaw(rng.uniform(0, 360)), np.array([*xy, 0.0])) for xy in ((0, 0), off)]
    elif kind == "propped":
        poses = [_propped(rng, s, k) for k, s in enumerate(plates)]
    else:
        poses = [Pose(layout.yaw(rng.uniform(0, 360)), np.zeros(3)) for _ in shapes]
    return (poses if held else layout.centred(poses, shapes)), held


def _piled(rng: Generator, plates: list[PlateShape], spread: float, fan: bool) -> list[Pose]:
    """Plates on top of each other: fanned out along an arc, or thrown about. Each lies on those before it."""
    poses: list[Pose] = []
    bow, step = rng.uniform(-0.4, 0.4), spread * plates[0].reach
    heading, at = rng.uniform(0, 2 * np.pi), np.zeros(2)
    for k, plate in enumerate(plates):
        if not fan:
            at = rng.uniform(-1, 1, 2) * spread * plates[0].reach * np.sqrt(len(plates)) * 0.7
        under = [
            p.shift[2] + s.thickness_mm
            for p, s in zip(poses, plates[:k], strict=True)
            if np.hypot(*(p.shift[:2] - at)) < s.reach + plate.reach
        ]
        tilt = layout.about(np.array([np.cos(heading), np.sin(heading), 0.0]), rng.normal(0, 0.012))
        poses.append(
            Pose(tilt @ layout.yaw(rng.uniform(0, 360)), np.array([*at, max(under, default=0.0) + 0.3]))
        )
        heading += bow
        at = at + step * np.array([np.cos(heading), np.sin(heading)])
    return poses


def _propped(rng: Generator, plate: PlateShape, k: int) -> Pose:
    """Leaning against something or standing on edge."""
    turn, tilt = (
        rng.uniform(0, 2 * np.pi),
        np.radians(rng.choice([0.0, rng.uniform(20, 75), rng.uniform(80, 97)])),
    )
    axis = np.array([np.cos(turn), np.sin(turn), 0.0])
    at = rng.uniform(-1, 1, 2) * 40 + k * np.array([1.9, 0.4]) * plate.reach
    return Pose(
        layout.about(axis, float(tilt)) @ layout.yaw(rng.uniform(0, 360)),
        np.array([*at, plate.reach * np.sin(min(tilt, np.pi / 2)) + 0.2]),
    )


def _camera(rng: Generator, poses: list[Pose], shapes: list[Shape]) -> Pinhole:
    size = (round(SIZE[0] * FINER), round(SIZE[1] * FINER))
    points = [layout.outline_points(p, s) for p, s in zip(poses, shapes, strict=True)]
    if not points:
        half = rng.uniform(70, 220)
        points = [np.array([[-half, -half * 0.7, 0], [half, half * 0.7, 0.0]])]
    fill = rng.uniform(0.18, 1.0) if rng.random() < 0.85 else rng.uniform(1.0, 1.9)
    off = rng.normal(0, 0.12, 2) if fill < 1 else rng.uniform(-0.4, 0.4, 2)
    focal = rng.choice([26, 35, 52]) / 34.6 * size[0]
    slant = float(np.clip(rng.gamma(1.6, 12.0), 0, 65))
    roll = float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 12))
    turn = float(rng.uniform(0, 360))
    return layout.framed(
        np.concatenate(points), size, float(focal), slant, turn, roll, fill, (off[0], off[1])
    )


def _skin(rng: Generator, kind: str, shape: Shape, camera: Pinhole, pose: Pose) -> Skin:
    px_per_mm = camera.focal_px / float(np.linalg.norm(pose.shift - camera.centre))
    across = 2 * layout.reach(shape)
    resolution = int(np.clip(across * px_per_mm * 1.1, 480 if isinstance(shape, PlateShape) else 700, 900))
    look = Look(wet=bool(rng.random() < 0.12), ink=None if rng.random() < 0.7 else True)
    if kind in (STEEL, REACTION):
        return make_skin(rng, kind, shape, int(rng.integers(5)), look=look, resolution=resolution)
    lining = _lining(rng)
    if rng.random() < 0.12:
        return make_clean_skin(lining, shape, rng=rng, look=look, resolution=resolution)
    for _ in range(4):
        try:
            able = reachable_levels(kind, lining)
            skin = make_skin(
                rng,
                kind,
                shape,
                int(rng.choice(able)),
                lining=lining,
                look=replace(look, wet=False),
                resolution=resolution,
            )
            return _recoloured(rng, skin) if rng.random() < 0.4 else skin
        except (RuntimeError, ValueError):  # no draw of this lining came out at the level
            lining = _lining(rng)
    return make_clean_skin(lining, shape, rng=rng, look=look, resolution=resolution)


def _lining(rng: Generator) -> Lining:
    return drawn_lining(FIRST_LINING + 3 * int(rng.integers(200_000)) + int(rng.integers(2)))


def _recoloured(rng: Generator, skin: Skin) -> Skin:
    """The lining in a colour that nobody sells, so that colour alone tells nothing."""
    gain = np.exp(rng.normal(0, 0.22, 3)).astype(np.float32) * np.float32(np.exp(rng.normal(0, 0.2)))
    share = (1 - skin.metal)[..., None]
    return replace(skin, albedo=np.clip(skin.albedo * (1 - share + share * gain), 0, 0.95).astype(np.float32))


def _part_surfaces(part: PlacedPart, n: int) -> list[Surface]:
    if isinstance(part.shape, PlateShape):
        solid, label = plate_solid(part.shape, part.skin.half_mm), TEETH
    else:
        solid, label = band_solid(part.shape, part.skin.half_mm), STRAP
    metal, lining = edge_finishes(part)
    surfaces = [
        Surface(solid.top, part.pose, part.skin, label, n),
        Surface(solid.metal_edges, part.pose, metal, label, n),
    ]
    if solid.lining_edges is not None:
        surfaces.append(Surface(solid.lining_edges, part.pose, lining, label, n))
    return surfaces


def _closed_band(rng: Generator) -> list[Surface]:
    """A band wound to a ring, standing: the lining shows inside, the strap outside and on the rim."""
    r, width, lining = rng.uniform(45, 95), rng.uniform(28, 52), rng.uniform(0.8, 1.3)
    gap = rng.uniform(0.05, 0.3)
    turn = rng.uniform(0, 6.28) + np.linspace(gap, 2 * np.pi - gap, 160)
    material = _lining(rng)
    tone = np.maximum(np.array(material.lab) - np.array([rng.uniform(0, 25), 0, 0]), [8, -40, -40])
    colour = tuple(float(v) for v in np.clip(lab_to_linear_srgb(tone), 0.01, 0.9))
    steel = float(rng.uniform(0.2, 0.55))

    def wall(rows: list[tuple[float, float]]) -> Array:
        return np.stack([np.c_[rad * np.cos(turn), rad * np.sin(turn), np.full(160, z)] for rad, z in rows])

    inside = grid_mesh(wall([(r, 0.0), (r, width)]))
    strap = grid_mesh(wall([(r, width), (r + lining + 1.8, width), (r + lining + 1.8, 0.0)]))
    pose = Pose(
        layout.about(np.array([1.0, 0, 0]), float(rng.choice([0.0, rng.normal(0, 0.5)]))), np.zeros(3)
    )
    return [
        Surface(inside, pose, Finish(colour, material.roughness, 0.0, material.specular), BAND_LINING),  # type: ignore[arg-type]
        Surface(strap, pose, Finish((steel, steel * 0.98, steel * 0.95), 0.35, 1.0), STRAP),
    ]


def _clutter(
    rng: Generator,
    camera: Pinhole,
    poses: list[Pose],
    shapes: list[Shape],
    kind: str,
    held: list[tuple[Array, float]],
) -> list[Surface]:
    taken = [(p.shift[:2], layout.reach_box(p, s)) for p, s in zip(poses, shapes, strict=True)]
    taken += [(at, np.full(2, reach)) for at, reach in held]
    if kind == "closed band":
        taken = [(np.zeros(2), np.full(2, 105.0))]
    surfaces: list[Surface] = []
    if rng.random() < 0.6:
        sheet = NEUTRALS[str(rng.choice(list(NEUTRALS)))](rng)
        place = layout.scattered(rng, [sheet], camera, taken, [])[0]
        if place is not None:
            surfaces += [Surface(mesh, place, finish, SHEET) for mesh, finish in sheet.pieces]
    n = int(rng.integers(0, 8)) if poses else int(rng.integers(3, 12))
    names = [name for name in ALL_THINGS if name not in NEUTRALS]
    things = [
        RING_THINGS[int(rng.integers(len(RING_THINGS)))](rng)
        if rng.random() < 0.6
        else ALL_THINGS[str(rng.choice(names))](rng)
        for _ in range(n)
    ]
    holes = [
        (p.shift[:2], s.core_inner_r - (s.tooth_depth if s.teeth == "inner" else 0))
        for p, s in zip(poses, shapes, strict=True)
        if isinstance(s, PlateShape) and kind not in ("drum", "on edge")
    ]
    places = layout.scattered(rng, things, camera, taken, holes if len(holes) == len(shapes) else [])
    for thing, place in zip(things, places, strict=True):
        if place is not None:
            surfaces += [Surface(mesh, place, finish, CLUTTER) for mesh, finish in thing.pieces]
    if poses and rng.random() < 0.3:  # something on top of a part
        k = int(rng.integers(len(poses)))
        over = poses[k].shift + np.array(
            [*rng.uniform(-0.9, 0.9, 2) * layout.reach(shapes[k]), shapes[k].thickness_mm + 0.5]
        )
        name = "rag" if rng.random() < 0.35 else str(rng.choice([*OTHER_THINGS, "coin", "washer", "socket"]))
        thing = rag(rng, float(rng.uniform(30, 130))) if name == "rag" else ALL_THINGS[name](rng)
        pose = Pose(layout.yaw(rng.uniform(0, 360)), over)
        surfaces += [Surface(mesh, pose, finish, CLUTTER) for mesh, finish in thing.pieces]
    return surfaces


def _bench(rng: Generator, camera: Pinhole) -> Surface:
    corners = np.array([[0, 0], [camera.width, 0], [camera.width, camera.height], [0, camera.height]])
    seen = np.array([layout.on_bench(camera, xy)[:2] for xy in corners])
    middle = (seen.max(axis=0) + seen.min(axis=0)) / 2
    half = float(min(np.linalg.norm(seen - middle, axis=1).max() * 1.04 + 20, 2500.0))
    near = camera.focal_px / float(np.linalg.norm(camera.centre))
    board = random_board(rng, (half, half), min(near * 1.1, 850 / (2 * half)))
    turn = float(rng.uniform(0, 360))
    stage = Stage(board, (float(middle[0]), float(middle[1])), turn, _NO_LIGHT, (), (), camera)
    return Surface(bench_mesh(stage), Pose(np.eye(3), np.zeros(3)), board, BENCH)


_NO_LIGHT = Light("none", (), np.zeros((2, 4, 3), np.float32), None)


def _light(rng: Generator, camera: Pinhole) -> Light:
    """One to three lamps of any size, place and tint in a room of any brightness."""
    warm = rng.normal(0, 0.18)
    lamps = []
    share = rng.dirichlet(np.ones(int(rng.choice([1, 1, 2, 3]))) * 2) * rng.uniform(0.3, 0.85)
    for part in share:
        side, far = rng.uniform(0, 2 * np.pi), rng.uniform(150, 2200)
        at = (far * np.cos(side), far * np.sin(side), rng.uniform(500, 2000))
        half = float(np.exp(rng.uniform(np.log(12), np.log(900))))
        tint = (float(np.exp(warm)), 1.0, float(np.exp(-1.4 * warm)))
        lamps.append(Lamp(at, (0.0, 0.0, 0.0), (half, half * rng.uniform(0.2, 1)), tint, float(part)))
    if rng.random() < 0.15:  # the phone's own light
        right, _, forward = camera.rotation
        at = tuple(float(v) for v in camera.centre + 14 * right + 3 * forward)
        lamps = [Lamp(at, (0.0, 0.0, 0.0), (4, 4), (1.0, 1.0, 1.0), 0.6)]  # type: ignore[arg-type]
    tint = (float(np.exp(warm * rng.uniform(0, 1))), 1.0, float(np.exp(-warm * rng.uniform(0, 1.4))))
    return Light("any", tuple(lamps), room_around(rng, tint, float(rng.uniform(0.15, 0.7))), None)
