"""More round things that are no clutch plate; conventions are those of `clutter`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.random import Generator

from tests.scenes.clutter import BRASS, CHROME, OXIDE, STEEL, THINGS, ZINC, Finish, Thing
from tests.scenes.mesh import Array, Mesh, grid_mesh
from tests.scenes.solids import extruded, lathe, tube, washer_profile

RUBBERS = ((0.025, 0.025, 0.027), (0.16, 0.055, 0.035), (0.04, 0.09, 0.05))


def _finish(
    rng: Generator, colours: tuple[tuple[float, float, float], ...], rough: float, sheen: float
) -> Finish:
    return Finish(colours[int(rng.integers(len(colours)))], rough, 0.0, sheen)


def o_ring(rng: Generator) -> Thing:
    """A rubber ring, round in section, not quite round in plan."""
    r, thick = rng.uniform(18, 72), rng.uniform(1.2, 3.2)
    turn = np.linspace(0, 2 * np.pi, 181)
    squash = 1 + rng.uniform(0, 0.06) * np.cos(2 * turn + rng.uniform(0, 6.28))
    path = np.c_[r * squash * np.cos(turn), r * squash * np.sin(turn), np.full(181, thick)]
    return Thing("O-ring", ((tube(path, thick, n=12), _finish(rng, RUBBERS, 0.45, 0.4)),), 1.06 * r + thick)


def gasket(rng: Generator) -> Thing:
    """A paper or fibre gasket: a flat ring with bolt ears."""
    r, ears = rng.uniform(32, 66), int(rng.integers(3, 9))
    inner, bolt = r * rng.uniform(0.72, 0.88), rng.uniform(2.6, 4.2)

    def inside(x: Array, y: Array) -> Array:
        rho, angle = np.hypot(x, y), np.arctan2(y, x)
        turn = (np.mod(angle * ears / (2 * np.pi) + 0.5, 1) - 0.5) * 2 * np.pi / ears
        ear = np.hypot(rho * np.cos(turn) - r, rho * np.sin(turn))
        body = np.minimum(np.maximum(rho - r, inner - rho), ear - 2.2 * bolt)
        return np.maximum(body, bolt - ear)

    tones = ((0.30, 0.24, 0.15), (0.10, 0.16, 0.12), (0.20, 0.20, 0.21), (0.34, 0.10, 0.07))
    mesh = extruded(inside, (r + 2.4 * bolt, r + 2.4 * bolt), 0.9, 0.9)
    return Thing("gasket", ((mesh, _finish(rng, tones, 0.85, 0.15)),), r + 2.4 * bolt)


def cup(rng: Generator) -> Thing:
    """A mug of coffee seen from above, handle left out of view underneath."""
    r, h = rng.uniform(36, 44), rng.uniform(70, 95)
    wall, fill = rng.uniform(3, 5), h * rng.uniform(0.55, 0.85)
    body = lathe(
        [
            (0.0, 0.0),
            (r * 0.9, 0.0),
            (r, 3),
            (r, h - 1.5),
            (r - wall / 2, h),
            (r - wall, h - 1.5),
            (r - wall, 4),
            (0.0, 4),
        ]
    )
    drink = lathe([(0.0, fill), (0.0, fill - 0.5), (r - wall - 0.1, fill - 0.5), (r - wall - 0.1, fill)])
    tones = ((0.72, 0.71, 0.67), (0.06, 0.10, 0.25), (0.45, 0.04, 0.03), (0.05, 0.05, 0.05))
    glaze, coffee = _finish(rng, tones, 0.12, 0.7), Finish((0.03, 0.014, 0.006), 0.05, 0.0, 0.6)
    return Thing("cup", ((body, glaze), (drink, coffee)), r + h * 0.25)


def hex_nut(rng: Generator) -> Thing:
    """A large nut, lying flat."""
    across, bore = rng.uniform(9, 17), rng.uniform(0.5, 0.62)

    def inside(x: Array, y: Array) -> Array:
        sides = [x * np.cos(k * np.pi / 3) + y * np.sin(k * np.pi / 3) for k in range(6)]
        return np.maximum(np.maximum.reduce(sides) - across, bore * across - np.hypot(x, y))

    mesh = extruded(inside, (across * 1.2, across * 1.2), across * 0.8, 0.5)
    return Thing("hex nut", ((mesh, [ZINC, OXIDE, STEEL][int(rng.integers(3))]),), across * 1.2)


def coil_spring(rng: Generator) -> Thing:
    """A return spring standing on end."""
    r, wire = rng.uniform(10, 24), rng.uniform(1.2, 2.4)
    turns = rng.uniform(4, 8)
    t = np.linspace(0, 2 * np.pi * turns, int(60 * turns))
    pitch = rng.uniform(2.4, 4.2) * wire
    path = np.c_[r * np.cos(t), r * np.sin(t), wire + pitch * t / (2 * np.pi)]
    return Thing(
        "coil spring",
        ((tube(path, wire, n=10), [STEEL, OXIDE][int(rng.integers(2))]),),
        r + pitch * turns * 0.4,
    )


def belleville(rng: Generator) -> Thing:
    """A conical spring washer, or a release spring with slots from its bore."""
    r = rng.uniform(32, 70)
    inner, rise, thick = r * rng.uniform(0.6, 0.8), rng.uniform(2, 6), rng.uniform(1.4, 2.6)
    profile = [(inner, rise), (r, 0.0), (r, thick), (inner, rise + thick)]
    return Thing("spring disc", ((lathe(profile), [STEEL, OXIDE, ZINC][int(rng.integers(3))]),), r)


def lip_seal(rng: Generator) -> Thing:
    """A shaft seal: a pressed case with a rubber lip."""
    r, h = rng.uniform(20, 42), rng.uniform(6, 11)
    inner = r * rng.uniform(0.55, 0.75)
    case = lathe(washer_profile(r - 3.2, r, h, 0.8))
    web = lathe(washer_profile(inner + 2.5, r - 3.0, h * 0.5, 0.2))
    lip = lathe([(inner + 3, h * 0.5), (inner + 4.4, h * 0.5), (inner + 1.2, h * 0.9), (inner, h * 0.8)])
    rubber = _finish(rng, RUBBERS, 0.5, 0.35)
    return Thing("lip seal", ((case, [ZINC, OXIDE][int(rng.integers(2))]), (web, rubber), (lip, rubber)), r)


def gear(rng: Generator) -> Thing:
    """A spur or sun gear lying flat, its bore open."""
    n = int(rng.integers(18, 46))
    r = n * rng.uniform(0.9, 1.35)
    depth, bore, h = 2.1 * r / n * 1.9, r * rng.uniform(0.3, 0.66), rng.uniform(8, 20)
    turn = np.arange(8 * n) * 2 * np.pi / (8 * n)
    reach = r - depth * np.tile([0, 0, 0.25, 0.9, 1, 1, 0.9, 0.25], n)

    def ring(radius: Array | float, z: float) -> Array:
        wide = np.broadcast_to(radius, turn.shape)
        return np.stack([wide * np.cos(turn), -wide * np.sin(turn), np.full(turn.shape, z)], 1)

    rows = np.stack([ring(reach, 0.0), ring(reach, h), ring(bore, h), ring(bore, 0.0)])
    mesh: Mesh = grid_mesh(rows, closed=True)
    return Thing("gear", ((mesh, [STEEL, OXIDE, CHROME][int(rng.integers(3))]),), r + 2)


def bottle_cap(rng: Generator) -> Thing:
    """A plastic screw cap, knurled, top up."""
    r, h = rng.uniform(14, 26), rng.uniform(9, 16)
    profile = [
        (0.0, 0.0),
        (r, 0.0),
        (r, h - 1.2),
        (r - 1.2, h),
        (r * 0.8, h),
        (r * 0.78, h - 0.5),
        (0.0, h - 0.5),
    ]
    tones = ((0.45, 0.04, 0.03), (0.04, 0.12, 0.4), (0.7, 0.7, 0.68), (0.02, 0.02, 0.02), (0.5, 0.33, 0.02))
    return Thing("bottle cap", ((lathe(profile), _finish(rng, tones, 0.35, 0.5)),), r + 3)


def bush(rng: Generator) -> Thing:
    """A plain bronze or steel bush standing up."""
    r, h = rng.uniform(10, 26), rng.uniform(10, 26)
    return Thing(
        "bush",
        ((lathe(washer_profile(r - rng.uniform(1.5, 4), r, h, 0.5)), [BRASS, STEEL][int(rng.integers(2))]),),
        r + h * 0.25,
    )


MORE_ROUND_THINGS: dict[str, Callable[[Generator], Thing]] = {
    "O-ring": o_ring,
    "gasket": gasket,
    "cup": cup,
    "hex nut": hex_nut,
    "coil spring": coil_spring,
    "spring disc": belleville,
    "lip seal": lip_seal,
    "gear": gear,
    "bottle cap": bottle_cap,
    "bush": bush,
}
ALL_THINGS = {**THINGS, **MORE_ROUND_THINGS}
