"""Oil grooves in a lining: where they run and how deep, and whether they bare the core."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes.grid import Grid

PLATE_PATTERNS = ("none", "radial", "waffle", "sector waffle", "segments", "tangential")
BAND_PATTERNS = ("none", "slanted", "lengthwise", "crosswise")


@dataclass(frozen=True, slots=True, eq=False)
class Grooves:
    """One part's grooves, maps (H, W) float32."""

    pattern: str
    depth: NDArray[np.float32]  # 0 land, 1 groove floor
    distance_mm: NDArray[np.float32]  # to the nearest groove's middle line; large where there are none
    depth_mm: float
    bares_core: bool  # gaps between glued segments show the steel

    @property
    def cut(self) -> NDArray[np.bool_]:
        """Pixels that belong to a groove or its edge, left out of every colour measure."""
        return self.depth > 0.08


def cut_grooves(rng: np.random.Generator, grid: Grid, pattern: str, lining_mm: float) -> Grooves:
    """Grooves of a named pattern with random count, width and turn.

    Raises ValueError for a pattern that this kind of part does not have.
    """
    if pattern not in (PLATE_PATTERNS if grid.ring else BAND_PATTERNS):
        raise ValueError(f"no groove pattern {pattern!r} on this part")
    if pattern == "none":
        far = np.full(grid.shape, 1e3, np.float32)
        return Grooves(pattern, np.zeros(grid.shape, np.float32), far, 0.0, False)
    width = rng.uniform(0.8, 1.7)
    if pattern == "segments":
        width = rng.uniform(1.0, 2.0)
    distance = _line_distance(rng, grid, pattern).astype(np.float32)
    slope = max(0.25, 1.5 * grid.mm_per_px)  # a pressed or cut edge is never a step
    depth = np.clip((width / 2 + slope / 2 - distance) / slope, 0, 1).astype(np.float32)
    depth_mm = lining_mm if pattern == "segments" else lining_mm * rng.uniform(0.45, 0.8)
    return Grooves(pattern, depth, distance, depth_mm, pattern == "segments")


def _line_distance(rng: np.random.Generator, grid: Grid, pattern: str) -> NDArray[np.float32]:
    """Distance in mm to the nearest groove's middle line."""
    turn = rng.uniform(0, 1)
    if pattern in ("radial", "segments", "tangential"):
        pitch_mm = rng.uniform(9, 26)
        n = max(6, round(grid.length_mm / pitch_mm))
        shear = rng.uniform(0.5, 1.1) * grid.width_mm / grid.length_mm if pattern == "tangential" else 0.0
        radius = grid.length_mm / (2 * np.pi) + (grid.across - 0.5) * grid.width_mm
        slot = np.mod((grid.along + shear * (grid.across - 0.5) + turn) * n, 1) - 0.5
        return np.abs(slot) / n * 2 * np.pi * radius
    if pattern in ("waffle", "sector waffle"):
        pitch = rng.uniform(5, 9)
        if pattern == "waffle":
            angle: NDArray[np.float32] | float = turn * np.pi
        else:  # each sector has its own grid, square to its middle line
            sectors = int(rng.choice([3, 4, 6]))
            angle = (np.floor((grid.along + turn) * sectors) / sectors + 0.5 / sectors - turn) * 2 * np.pi
        u = grid.x * np.cos(angle) + grid.y * np.sin(angle)
        v = -grid.x * np.sin(angle) + grid.y * np.cos(angle)
        return np.minimum(_to_lattice(u, pitch), _to_lattice(v, pitch))
    length, width = grid.length_mm, grid.width_mm
    s, t = (grid.along - turn) * length, (grid.across - 0.5) * width
    if pattern == "slanted":
        angle = np.radians(rng.choice([-1, 1]) * rng.uniform(28, 62))
        return _to_lattice(s * np.sin(angle) + t * np.cos(angle), rng.uniform(12, 26))
    if pattern == "lengthwise":
        return np.abs(t) if rng.random() < 0.5 else np.abs(np.abs(t) - width / 5)
    return _to_lattice(s, rng.uniform(16, 40))


def _to_lattice(u: NDArray[np.float32], pitch: float) -> NDArray[np.float32]:
    return np.abs(np.mod(u / np.float32(pitch), 1) - 0.5) * np.float32(pitch)
