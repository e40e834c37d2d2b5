"""Round things to train on, in any proportion: what is no plate must not be known by one shop's sizes.

Apart from the builders of clutter that the accuracy scenes use; conventions are `tests.scenes.clutter`'s.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.random import Generator

from tests.scenes.clutter import Finish, Thing
from tests.scenes.mesh import Array, Mesh, grid_mesh, joined
from tests.scenes.solids import ball, lathe, tube, washer_profile


def any_finish(rng: Generator) -> Finish:
    """Metal, plastic, rubber, paper: any colour, shine and gloss."""
    colour = tuple(float(v) for v in np.clip(rng.beta(1.2, 2.2) * np.exp(rng.normal(0, 0.25, 3)), 0.01, 0.9))
    metal = float(rng.random() < 0.5)
    if metal and rng.random() < 0.7:  # steel, bare or dark
        grey = float(rng.uniform(0.1, 0.66))
        colour = (grey, grey * 0.985, grey * 0.96)
    return Finish(colour, float(rng.uniform(0.08, 0.9)), metal, float(rng.uniform(0.1, 0.7)))  # type: ignore[arg-type]


def any_ring(rng: Generator) -> Thing:
    """A plain ring of any proportion, height and finish: round is not enough to be a plate."""
    r = rng.uniform(10, 85)
    inner, tall = r * rng.uniform(0.3, 0.93), float(rng.choice([rng.uniform(0.8, 4), rng.uniform(4, 30)]))
    return Thing(
        "ring", ((lathe(washer_profile(inner, r, tall, rng.uniform(0.1, 1.5))), any_finish(rng)),), r
    )


def turned(rng: Generator) -> Thing:
    """Anything turned on a lathe: steps, grooves and lips at any radius, with or without a bore."""
    r, n = rng.uniform(12, 95), int(rng.integers(3, 9))
    inner = 0.0 if rng.random() < 0.4 else r * rng.uniform(0.1, 0.85)
    edges = np.sort(rng.uniform(inner, r, n))[::-1]
    heights = rng.uniform(1, 6) + np.abs(np.cumsum(rng.normal(0, rng.uniform(0.3, 5), n)))
    profile = [(inner, 0.0), (r, 0.0)]
    for radius, before, after in zip(edges, [heights[0], *heights[:-1]], heights, strict=True):
        profile += [(float(radius), float(before)), (float(radius) - 0.2, float(after))]
    profile += [(inner, float(heights[-1]))]
    profile[2:2] = [(r, float(heights[0]))]
    return Thing("turned thing", ((lathe(profile), any_finish(rng)),), r)


def roller_cage(rng: Generator) -> Thing:
    """A thrust bearing: a cage of any width with rollers like spokes, from a few fat ones to many needles."""
    r, n = rng.uniform(16, 80), int(rng.integers(12, 90))
    inner = r * rng.uniform(0.5, 0.9)
    ends = np.array([inner + rng.uniform(0.05, 0.2) * (r - inner), r - rng.uniform(0.05, 0.2) * (r - inner)])
    fat = min(rng.uniform(0.25, 0.8) * np.pi * (r + inner) / 2 / n, 4.0)
    tall = fat * rng.uniform(0.8, 1.6)
    cage = lathe(washer_profile(inner, r, tall, 0.15, rng.uniform(0, fat * 0.5)))
    turns = np.arange(n) * 2 * np.pi / n + rng.uniform(0, 6.28)
    rollers = joined(*(tube(np.c_[ends * np.cos(t), ends * np.sin(t), [fat, fat]], fat, n=8) for t in turns))
    pieces = [(cage, any_finish(rng)), (rollers, any_finish(rng))]
    if rng.random() < 0.35:  # a race under it
        wide = washer_profile(inner * rng.uniform(0.94, 1.0), r * rng.uniform(1.0, 1.06), 0.6, 0.1)
        pieces.append((lathe(wide), any_finish(rng)))
    return Thing("roller cage", tuple(pieces), r * 1.06)


def ball_ring(rng: Generator) -> Thing:
    """Balls or sprags between two rings."""
    r, n = rng.uniform(16, 70), int(rng.integers(7, 40))
    bore, tall = r * rng.uniform(0.45, 0.85), rng.uniform(3, 18)
    wall, middle = (r - bore) * rng.uniform(0.12, 0.3), (r + bore) / 2
    size = min((r - bore) / 2 - wall * 0.8, 0.9 * np.pi * middle / n)
    rings = joined(
        lathe(washer_profile(r - wall, r, tall, 0.5)), lathe(washer_profile(bore, bore + wall, tall, 0.5))
    )
    turns = rng.uniform(0, 6.28) + np.arange(n) * 2 * np.pi / n
    balls = joined(*(ball(size, middle * np.cos(t), middle * np.sin(t), tall / 2) for t in turns))
    return Thing("ball ring", ((rings, any_finish(rng)), (balls, any_finish(rng))), r)


def spring_pack(rng: Generator) -> Thing:
    """Return springs standing round on a retainer."""
    r, n = rng.uniform(34, 85), int(rng.integers(8, 26))
    wide = min(rng.uniform(3, 7), 0.8 * np.pi * r / n)
    turns, tall = rng.uniform(0, 6.28) + np.arange(n) * 2 * np.pi / n, rng.uniform(8, 26)
    t = np.linspace(0, 2 * np.pi * 4, 70)
    coil = np.c_[wide * np.cos(t), wide * np.sin(t), 2 + tall * t / t[-1]]
    springs = joined(
        *(tube(coil + np.array([r * np.cos(a), r * np.sin(a), 0]), 0.16 * wide, n=6) for a in turns)
    )
    plate = lathe(washer_profile(r - 1.5 * wide, r + 1.5 * wide, 1.2, 0.2))
    pieces = [(springs, any_finish(rng)), (plate, any_finish(rng))]
    if rng.random() < 0.5:
        pieces.append(
            (lathe(washer_profile(r - 1.4 * wide, r + 1.4 * wide, 1.0, 0.2, tall + 2)), any_finish(rng))
        )
    return Thing("spring pack", tuple(pieces), r + 1.5 * wide)


def hose_coil(rng: Generator) -> Thing:
    """Hose, wire or cable in loose turns."""
    r, turns, thick = rng.uniform(30, 95), rng.uniform(1.3, 6), rng.uniform(1, 7)
    t = np.linspace(0, 2 * np.pi * turns, int(70 * turns))
    wander = r * (
        1 + rng.uniform(-0.35, 0.35) * t / t[-1] + rng.uniform(0, 0.07) * np.sin(t * rng.uniform(0.6, 1.4))
    )
    lift = thick + np.abs(rng.uniform(0, 1.3) * thick * t / np.pi / 2)
    path = np.c_[wander * np.cos(t), wander * np.sin(t), lift]
    return Thing("hose coil", ((tube(path, thick, n=10), any_finish(rng)),), 1.45 * r + thick)


def toothed(rng: Generator) -> Thing:
    """A gear, ring gear, sprocket or saw blade: teeth on one or both sides of what is too tall, or a disc."""
    r, n = rng.uniform(20, 95), int(rng.integers(12, 80))
    disc = rng.random() < 0.35
    bore, tall = r * (rng.uniform(0.08, 0.3) if disc else rng.uniform(0.3, 0.88)), rng.uniform(7, 28)
    if disc:
        tall = rng.uniform(1, 3)
    steps = 8
    turn = np.arange(steps * n) * 2 * np.pi / (steps * n)
    tooth = np.tile([0, 0, 0.25, 0.9, 1, 1, 0.9, 0.25], n)
    depth = rng.uniform(0.4, 1.2) * np.pi * r / n
    inside = rng.random() < 0.5 and not disc
    outer = np.full(turn.shape, r) if inside else r - depth * tooth
    inner = np.minimum(bore - depth * tooth, r - 2.0) if inside else np.full(turn.shape, bore)
    inner = np.maximum(inner, 2.0)

    def ring(radius: Array, z: float) -> Array:
        return np.stack([radius * np.cos(turn), -radius * np.sin(turn), np.full(turn.shape, z)], 1)

    rows = np.stack([ring(outer, 0.0), ring(outer, tall), ring(inner, tall), ring(inner, 0.0)])
    mesh: Mesh = grid_mesh(rows, closed=True)
    return Thing("toothed thing", ((mesh, any_finish(rng)),), r)


def label_disc(rng: Generator) -> Thing:
    """A disc with a printed ring: a cutting disc, a coaster, a lid with a label, a clock's face."""
    r = rng.uniform(25, 95)
    bore, h = r * float(rng.choice([0.0, rng.uniform(0.08, 0.25)])), rng.uniform(0.8, 5)
    disc = lathe([(bore, 0.0), (r, 0.0), (r, h), (bore, h)])
    pieces = [(disc, any_finish(rng))]
    for _ in range(int(rng.integers(1, 4))):
        low, high = np.sort(rng.uniform(max(bore, 0.1 * r), 0.97 * r, 2))
        pieces.append((lathe(washer_profile(low, high + 0.5, 0.05, 0.0, h)), any_finish(rng)))
    return Thing("label disc", tuple(pieces), r)


RING_THINGS: tuple[Callable[[Generator], Thing], ...] = (
    any_ring,
    any_ring,
    turned,
    turned,
    roller_cage,
    roller_cage,
    roller_cage,
    ball_ring,
    spring_pack,
    hose_coil,
    toothed,
    label_disc,
)
