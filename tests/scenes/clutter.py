"""What else lies on a rebuilder's bench: round things that look like plates, tools, rags, cards.

Each builder takes a numpy Generator and returns a `Thing` standing on z = 0, in millimetres. Colours are
linear sRGB.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.random import Generator

from tests.scenes.mesh import Array, Mesh, grid_mesh, joined
from tests.scenes.solids import ball, bar, extruded, lathe, tube, washer_profile

Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Finish:
    """A plain surface: linear sRGB colour (specular where metal), GGX alpha, metal and sheen 0..1."""

    colour: Colour
    roughness: float
    metal: float = 0.0
    specular: float = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Thing:
    """A bench object: its name, its meshes with their finishes, and the radius in mm it needs."""

    name: str
    pieces: tuple[tuple[Mesh, Finish], ...]
    reach: float


STEEL = Finish((0.55, 0.54, 0.52), 0.28, 1.0)
POLISHED = Finish((0.60, 0.59, 0.57), 0.14, 1.0)
CHROME = Finish((0.66, 0.66, 0.66), 0.09, 1.0)
BRASS = Finish((0.62, 0.46, 0.20), 0.3, 1.0)
OXIDE = Finish((0.055, 0.053, 0.052), 0.35, 0.0, 0.6)
ZINC = Finish((0.52, 0.50, 0.45), 0.36, 1.0)


def coin(rng: Generator) -> Thing:
    """A round blank with a raised rim and a plain boss, of no country."""
    r, h = rng.uniform(9.5, 13.5), rng.uniform(1.6, 2.2)
    profile = [
        (0.0, 0.0),
        (r - 0.2, 0.0),
        (r, 0.2),
        (r, h),
        (r - 1.0, h),
        (r - 1.3, h - 0.3),
        (r * 0.5, h - 0.3),
    ]
    profile += [(r * 0.42, h - 0.05), (0.0, h - 0.05)]
    tone = [BRASS, Finish((0.58, 0.55, 0.50), 0.25, 1.0), Finish((0.55, 0.33, 0.22), 0.32, 1.0)][
        rng.integers(3)
    ]
    return Thing("coin", ((lathe(profile), tone),), r)


def washer(rng: Generator) -> Thing:
    """A flat washer, zinc or black."""
    r, h = rng.uniform(9, 19), rng.uniform(1.5, 3.0)
    return Thing(
        "washer",
        ((lathe(washer_profile(r * rng.uniform(0.45, 0.6), r, h, 0.2)), [ZINC, OXIDE][rng.integers(2)]),),
        r,
    )


def ball_bearing(rng: Generator) -> Thing:
    """A deep-groove bearing lying flat, balls and cage in view."""
    r = rng.uniform(22, 36)
    bore, h = r * rng.uniform(0.42, 0.52), r * 0.36
    wall = (r - bore) * 0.27
    rings = joined(
        lathe(washer_profile(r - wall, r, h, 0.7)),
        lathe(washer_profile(bore, bore + wall, h, 0.7)),
    )
    middle = (r + bore) / 2
    n = 9
    turns = rng.uniform(0, 6.28) + np.arange(n) * 2 * np.pi / n
    balls = joined(*(ball((r - bore) * 0.24, middle * np.cos(t), middle * np.sin(t), h / 2) for t in turns))
    cage = lathe(washer_profile(middle - 1.6, middle + 1.6, h * 0.62, 0.2, h * 0.19))
    floor = lathe(washer_profile(bore + wall, r - wall, h * 0.3, 0.1))
    return Thing("ball bearing", ((rings, POLISHED), (balls, CHROME), (cage, BRASS), (floor, OXIDE)), r)


def needle_ring(rng: Generator) -> Thing:
    """A thrust needle bearing: a thin cage with rollers laid like spokes."""
    r = rng.uniform(26, 46)
    inner, h, n = r * rng.uniform(0.68, 0.78), 2.0, int(rng.integers(36, 60))
    cage = lathe(washer_profile(inner, r, h * 0.7, 0.15, 0.3))
    turns = np.arange(n) * 2 * np.pi / n
    ends = np.linspace(inner + 1.6, r - 1.6, 2)
    rollers = joined(
        *(tube(np.c_[ends * np.cos(t), ends * np.sin(t), [h / 2, h / 2]], h / 2 + 0.15, n=10) for t in turns)
    )
    return Thing("needle ring", ((cage, Finish((0.35, 0.34, 0.32), 0.4, 1.0)), (rollers, CHROME)), r)


def bearing_race(rng: Generator) -> Thing:
    """A plain hardened ring: a flat thrust race or a tall cup."""
    r = rng.uniform(24, 48)
    flat = rng.random() < 0.5
    inner, h = (
        (r * rng.uniform(0.66, 0.76), 1.2) if flat else (r * rng.uniform(0.82, 0.88), rng.uniform(9, 18))
    )
    return Thing("bearing race", ((lathe(washer_profile(inner, r, h, 0.4)), POLISHED),), r)


def snap_ring(rng: Generator) -> Thing:
    """An open retaining ring, square in section."""
    r, gap = rng.uniform(48, 78), rng.uniform(0.06, 0.35)
    a = rng.uniform(0, 6.28) + np.linspace(gap, 2 * np.pi - gap, 240)
    half, h = 1.5, 1.9
    section = [(-half, 0.0), (half, 0.0), (half, h), (-half, h), (-half, 0.0)]
    points = np.stack(
        [np.stack([(r + s) * np.cos(a), (r + s) * np.sin(a), np.full(240, z)], 1) for s, z in section]
    )
    return Thing("snap ring", ((grid_mesh(points[::-1]), Finish((0.30, 0.29, 0.28), 0.35, 1.0)),), r + 2)


def socket(rng: Generator) -> Thing:
    """A wall-drive socket standing with its hexagon up."""
    r, h = rng.uniform(9, 17), rng.uniform(26, 48)
    body = lathe(
        [
            (r * 0.8, 0),
            (r * 0.96, 0),
            (r, 1),
            (r, h - 1.2),
            (r - 1.2, h),
            (r * 0.72, h),
            (r * 0.7, h - 12),
            (r * 0.2, h - 12),
        ]
    )
    return Thing("socket", ((body, [CHROME, OXIDE][rng.integers(2)]),), r + h * 0.3)


def tape_roll(rng: Generator) -> Thing:
    """A roll of tape lying flat on its cardboard core."""
    r, bore, h = rng.uniform(46, 60), rng.uniform(32, 39), rng.uniform(14, 30)
    tones: tuple[Colour, ...] = (
        (0.03, 0.03, 0.032),
        (0.62, 0.52, 0.30),
        (0.42, 0.05, 0.04),
        (0.05, 0.14, 0.40),
    )
    tone = tones[rng.integers(len(tones))]
    roll = lathe(washer_profile(bore + 3, r, h, 0.3))
    core = lathe(washer_profile(bore, bore + 3, h + 0.2, 0.2))
    return Thing(
        "tape roll",
        ((roll, Finish(tone, 0.45, 0.0, 0.4)), (core, Finish((0.42, 0.30, 0.18), 0.9, 0, 0.1))),
        r + 6,
    )


def jar_lid(rng: Generator) -> Thing:
    """A screw lid, top up, with a pressed step."""
    r, h = rng.uniform(30, 43), rng.uniform(11, 15)
    tones: tuple[Colour, ...] = (
        (0.7, 0.69, 0.66),
        (0.45, 0.30, 0.08),
        (0.02, 0.02, 0.022),
        (0.35, 0.04, 0.03),
    )
    profile = [(0.0, 0.0), (r, 0.0), (r + 0.5, 0.8), (r, 1.6), (r, h - 1.5), (r - 0.5, h - 0.4), (r - 1.5, h)]
    profile += [(r - 4, h), (r - 5, h - 0.9), (r - 11, h - 0.9), (r - 12, h - 0.3), (0.0, h - 0.3)]
    return Thing(
        "jar lid", ((lathe(profile), Finish(tones[rng.integers(len(tones))], 0.3, 0.0, 0.6)),), r + 4
    )


def wrench(rng: Generator) -> Thing:
    """A combination spanner."""
    length, size = rng.uniform(130, 210), rng.uniform(10, 17)
    half = length / 2

    def inside(x: Array, y: Array) -> Array:
        ring_at, jaw_at = (-half + size, 0.0), (half - size * 1.1, 0.0)
        ring = np.abs(np.hypot(x - ring_at[0], y) - size * 0.74) - size * 0.24
        shank = bar(x, y, ring_at, jaw_at, size * 0.34)
        shank = np.maximum(shank, size * 0.6 - np.hypot(x - ring_at[0], y))
        jaw = np.hypot(x - jaw_at[0], y) - size * 1.1
        slot = bar(x, y, jaw_at, (jaw_at[0] + 3 * size, 0.8 * size), size * 0.5)
        return np.maximum(np.minimum(np.minimum(ring, shank), jaw), -slot)

    mesh = extruded(inside, (half + 2, size * 1.2), size * 0.42, 0.8)
    return Thing("wrench", ((mesh, [CHROME, STEEL][rng.integers(2)]),), half)


def screwdriver(rng: Generator) -> Thing:
    """A flat screwdriver lying down, fluted handle."""
    grip, blade, r = rng.uniform(80, 110), rng.uniform(80, 150), rng.uniform(11, 15)
    t = np.linspace(0, 1, 80)
    outline = (
        r * (0.78 + 0.22 * np.cos(2 * np.pi * (t - 0.42))) * np.clip(np.minimum(t, 1 - t) * 14, 0, 1) ** 0.5
    )
    x = -grip + t * grip
    a = -np.linspace(0, 2 * np.pi, 72, endpoint=False)
    wide = outline[:, None] * (1 - 0.05 * (np.cos(8 * a) > 0.2))
    handle = grid_mesh(
        np.stack([np.broadcast_to(x[:, None], wide.shape), wide * np.cos(a), r + wide * np.sin(a)], -1),
        closed=True,
        smooth=True,
    )
    shaft = tube(np.c_[np.linspace(-4, blade, 30), np.zeros(30), np.linspace(r, 4, 30)], 3.2)
    tones: tuple[Colour, ...] = (
        (0.45, 0.03, 0.02),
        (0.02, 0.02, 0.02),
        (0.65, 0.35, 0.02),
        (0.03, 0.10, 0.35),
    )
    return Thing(
        "screwdriver",
        ((handle, Finish(tones[rng.integers(len(tones))], 0.25)), (shaft, CHROME)),
        max(grip, blade),
    )


def cable(rng: Generator) -> Thing:
    """A lamp cable in a loose curve."""
    knots = np.cumsum(rng.normal(0, 60, (7, 2)) + np.array([55.0, 0.0]), axis=0)
    knots -= knots.mean(0)
    t = np.linspace(0, 6, 200)
    weight = np.maximum(0, 1 - np.abs(t[:, None] - np.arange(7)[None, :]))
    xy = cv2.GaussianBlur(weight @ knots, (1, 61), 14, borderType=cv2.BORDER_REPLICATE)
    r = rng.uniform(2.5, 4)
    path = np.c_[xy, np.full(200, r)]
    return Thing("cable", ((tube(path, r), Finish((0.025, 0.025, 0.028), 0.4)),), float(np.abs(xy).max()))


def rag(rng: Generator, half: float = 0.0) -> Thing:
    """A crumpled shop cloth."""
    half = half or rng.uniform(70, 110)
    n = 160
    waves = cv2.GaussianBlur(rng.normal(size=(n, n)), (0, 0), 13)
    folds = cv2.GaussianBlur(rng.normal(size=(n, n)), (0, 0), sigmaX=16, sigmaY=4)
    lift = 1 - np.abs(waves) / np.abs(waves).max() + 0.8 * (1 - np.abs(folds) / np.abs(folds).max())
    lift += 0.15 * cv2.GaussianBlur(rng.normal(size=(n, n)), (0, 0), 2.5) * 5
    u = np.linspace(-1, 1, n)
    edge = np.clip((1 - np.maximum(np.abs(u)[:, None], np.abs(u)[None, :])) * 9, 0, 1)
    height = 1.2 + edge * (half * 0.16) * np.clip(lift - lift.min(), 0, None)
    wobble = cv2.GaussianBlur(rng.normal(size=(n, n, 2)), (0, 0), 18) * 18 * half * 0.12
    x = half * u[None, :] + wobble[..., 0]
    y = -half * rng.uniform(0.75, 1.0) * u[:, None] + wobble[..., 1]
    tones: tuple[Colour, ...] = (
        (0.40, 0.05, 0.04),
        (0.12, 0.20, 0.42),
        (0.62, 0.60, 0.55),
        (0.30, 0.29, 0.27),
    )
    finish = Finish(tones[rng.integers(len(tones))], 0.95, 0.0, 0.05)
    return Thing("rag", ((grid_mesh(np.stack([x, y, height], -1), smooth=True), finish),), half * 1.2)


def sheet(rng: Generator, width: float, depth: float, finish: Finish, name: str, curl: float) -> Thing:
    """A flat sheet or card; one corner may lift by ``curl`` mm."""
    u = np.linspace(-1, 1, 40)
    corner = (
        np.clip((u[None, :] * rng.choice([-1, 1]) + u[:, None] * rng.choice([-1, 1])) / 2 - 0.35, 0, 1) ** 2
    )
    z = 0.15 + curl * corner * 2.4
    x, y = np.broadcast_arrays(width / 2 * u[None, :], -depth / 2 * u[:, None])
    top = grid_mesh(np.stack([x, y, z], -1), smooth=True)
    return Thing(name, ((top, finish),), float(np.hypot(width, depth) / 2))


def paper(rng: Generator) -> Thing:
    """Plain white office paper, reflectance 0.87, whole or cut to a strip."""
    sizes = ((148.0, 105.0), (210.0, 148.0), (210.0, 70.0))
    width, depth = sizes[rng.integers(len(sizes))]
    return sheet(
        rng, width, depth, Finish((0.87, 0.87, 0.865), 0.9, 0.0, 0.15), "white paper", rng.uniform(0, 3)
    )


def grey_card(rng: Generator) -> Thing:
    """An 18 % grey card."""
    width = rng.uniform(85, 130)
    return sheet(rng, width, width * 0.7, Finish((0.18, 0.18, 0.18), 0.9, 0.0, 0.1), "grey card", 0.0)


ROUND_THINGS: dict[str, Callable[[Generator], Thing]] = {
    "coin": coin,
    "washer": washer,
    "ball bearing": ball_bearing,
    "needle ring": needle_ring,
    "bearing race": bearing_race,
    "tape roll": tape_roll,
    "jar lid": jar_lid,
    "snap ring": snap_ring,
    "socket": socket,
}
OTHER_THINGS: dict[str, Callable[[Generator], Thing]] = {
    "wrench": wrench,
    "screwdriver": screwdriver,
    "cable": cable,
    "rag": rag,
}
NEUTRALS: dict[str, Callable[[Generator], Thing]] = {"white paper": paper, "grey card": grey_card}
THINGS = {**ROUND_THINGS, **OTHER_THINGS, **NEUTRALS}
