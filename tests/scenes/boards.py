"""More benches, for the broad catalogue: their maps and conventions are those of `bench`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.random import Generator

from tests.scenes.any_board import random_board
from tests.scenes.bench import BENCHES, Board, Surface, lab_colour

Half = tuple[float, float]


def galvanised_tray(rng: Generator, half_mm: Half, px_per_mm: float) -> Surface:
    """A zinc drip tray: spangle, dents, a film of old fluid."""
    b = Board(rng, half_mm, px_per_mm)
    spangle = np.round(b.noise(14, 2) * 1.6) / 1.6
    fluid = b.stains(0.25, 110)
    tone = 0.44 + 0.03 * spangle + 0.015 * b.noise(50, 3) - 0.12 * fluid
    tint = np.array([0.98, 0.99, 1.0], np.float32) - fluid[..., None] * np.array(
        [0.02, 0.06, 0.14], np.float32
    )
    rough = 0.38 + 0.04 * spangle - 0.14 * fluid
    height = 0.25 * b.noise(120, 2) - 0.01 * b.scratches(120, 40)
    return b.made(np.clip(tone[..., None] * tint, 0.02, 0.8), rough, 0.5, 1.0, height)


def cutting_mat(rng: Generator, half_mm: Half, px_per_mm: float) -> Surface:
    """A rubbery work mat with a printed grid, cut and greasy."""
    b = Board(rng, half_mm, px_per_mm)
    pitch = float(rng.choice([10.0, 12.7, 25.4]))
    line = np.minimum(
        *(np.abs(np.mod(axis / pitch, 1) - 0.5) * pitch for axis in np.broadcast_arrays(b.x, b.y))
    )
    printed = np.clip((0.35 - line) / 0.2, 0, 1) * rng.uniform(0.4, 1.0)
    tones = ((32, -14, 4), (26, 2, -14), (24, 0, 0), (40, 18, 10))
    lightness, a, b_star = tones[rng.integers(len(tones))]
    grease = b.stains(0.2, 60)
    shade = lightness + 26 * printed - 6 * grease + 1.2 * b.noise(0.9) + 6 * b.scratches(160, 40)
    albedo = lab_colour(np.clip(shade, 5, 85), a * (1 - printed), b_star * (1 - printed) + 2 * grease)
    return b.made(albedo, 0.6 - 0.2 * grease, 0.35, 0.0, 0.02 * b.noise(0.8) - 0.1 * b.scratches(60, 30))


def plywood(rng: Generator, half_mm: Half, px_per_mm: float) -> Surface:
    """A pale birch sheet, its grain in long flames, knots plugged, dark finger marks."""
    b = Board(rng, half_mm, px_per_mm)
    flame = np.sin((b.y + 30 * b.noise(160, 2) + 14 * b.streaks(400, 30)) * 0.22)
    pores = np.clip(b.streaks(9, 0.35) - 1.1, 0, 2)
    dirt = b.stains(0.2, 45)
    lightness = rng.uniform(66, 76) + 1.9 * flame + 1.1 * b.streaks(60, 1.0) - 4 * pores - 16 * dirt
    lightness = lightness - 4 * b.scratches(80, 20) + 0.8 * b.noise(0.9)
    albedo = lab_colour(np.clip(lightness, 10, 90), 4.5 + 0.4 * flame, 19 - 3 * dirt + 0.8 * flame)
    return b.made(albedo, 0.7 - 0.2 * dirt, 0.3, 0.0, 0.01 * flame - 0.04 * pores)


def canvas_sheet(rng: Generator, half_mm: Half, px_per_mm: float) -> Surface:
    """A drop cloth or apron laid down: coarse plain weave in soft folds."""
    b = Board(rng, half_mm, px_per_mm)
    pitch = rng.uniform(0.9, 1.6)
    thread = np.cos(2 * np.pi * b.x / pitch) * np.cos(2 * np.pi * b.y / pitch)
    folds = b.noise(150, 2)
    tones = ((60, 1.5, 9), (42, -1, -13), (30, 0, 2), (46, 20, 12), (52, -6, 12))
    lightness, a, b_star = tones[rng.integers(len(tones))]
    stain = b.stains(0.22, 70)
    shade = lightness + 1.6 * thread + 1.5 * b.noise(2.0, 3) + 2.0 * folds - 0.24 * lightness * stain
    albedo = lab_colour(np.clip(shade, 5, 88), a * (1 - 0.5 * stain), b_star * (1 - 0.3 * stain))
    return b.made(albedo, 0.92 - 0.2 * stain, 0.12 + 0.2 * stain, 0.0, 1.3 * folds + 0.06 * thread)


def floor_tiles(rng: Generator, half_mm: Half, px_per_mm: float) -> Surface:
    """Glazed tiles with dark joints."""
    b = Board(rng, half_mm, px_per_mm)
    pitch = rng.uniform(95, 200)
    x, y = np.broadcast_arrays(b.x + rng.uniform(0, pitch), b.y + rng.uniform(0, pitch))
    edge = np.minimum(*(np.abs(np.mod(axis / pitch + 0.5, 1) - 0.5) * pitch for axis in (x, y)))
    joint = np.clip((2.2 - edge) / 0.6, 0, 1)
    each = rng.normal(0, 2.0, (64, 64))[(x // pitch).astype(int) % 64, (y // pitch).astype(int) % 64]
    tones = ((74, 0, 3), (56, 14, 18), (48, 0, 1), (63, 2, 12))
    lightness, a, b_star = tones[rng.integers(len(tones))]
    shade = lightness + each + 2.2 * b.noise(25, 4) - 8 * b.stains(0.12, 60)
    shade = shade * (1 - joint) + 33 * joint + 0.5 * b.noise(1.0)
    albedo = lab_colour(np.clip(shade, 6, 90), a * (1 - joint), b_star * (1 - joint) + 3 * joint)
    return b.made(albedo, 0.22 + 0.6 * joint, 0.5 - 0.3 * joint, 0.0, -0.8 * joint + 0.15 * b.noise(120))


def wet_concrete(rng: Generator, half_mm: Half, px_per_mm: float) -> Surface:
    """A hosed floor: dark where it is still wet, with a sheen in the hollows."""
    b = Board(rng, half_mm, px_per_mm)
    sand, hollow = b.noise(1.0, 2), b.noise(130, 3)
    water = np.clip(0.5 + 1.4 * (hollow + rng.uniform(-0.4, 0.6)), 0, 1)
    pits = np.clip(b.noise(2.6) - 2.2, 0, 1) * 2
    lightness = rng.uniform(50, 60) + 2.4 * sand + 2.5 * b.noise(60, 3) - 16 * pits - 17 * water
    albedo = lab_colour(np.clip(lightness, 6, 90), 0.4 + 0 * water, 4.0 + 1.2 * b.noise(100, 2))
    height = (0.03 * sand - 0.4 * pits) * (1 - 0.8 * water)
    return b.made(albedo, 0.85 - 0.68 * water, 0.2 + 0.4 * water, 0.0, height)


MORE_BENCHES: dict[str, Callable[[Generator, Half, float], Surface]] = {
    "galvanised tray": galvanised_tray,
    "cutting mat": cutting_mat,
    "plywood": plywood,
    "canvas sheet": canvas_sheet,
    "floor tiles": floor_tiles,
    "wet concrete": wet_concrete,
}
MORE_HELD_OUT_BENCHES = ("floor tiles", "wet concrete")
ANY = "any"
ALL_BENCHES = {**BENCHES, **MORE_BENCHES, ANY: random_board}
