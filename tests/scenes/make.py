"""Paint a part: `make_skin` at a heat level asked for, `make_clean_skin` for a reference photo."""

from __future__ import annotations

import numpy as np

from tests.scenes import linings
from tests.scenes.grid import Grid, band_grid, plate_grid
from tests.scenes.lined import paint_clean, paint_lined
from tests.scenes.linings import LININGS, Lining
from tests.scenes.look import Look
from tests.scenes.metal import paint_steel
from tests.scenes.shapes import random_band_shape, random_plate_shape
from tests.scenes.skin import BAND, FRICTION, REACTION, STEEL, BandShape, PlateShape, Skin

__all__ = [
    "RESOLUTION",
    "Look",
    "make_clean_skin",
    "make_skin",
    "random_band_shape",
    "random_plate_shape",
    "reachable_levels",
]

RESOLUTION = 1400  # map pixels along x


def reachable_levels(kind: str, lining: Lining | None = None) -> tuple[int, ...]:
    """Levels that a part can truly have: a dark lining is char before its Delta E passes 20.

    A lining too dark to show heat has no level in truth; every heat can be asked of it.
    """
    if kind in (STEEL, REACTION) or lining is None or lining.lab[0] < linings.TOO_DARK_L:
        return (0, 1, 2, 3, 4)
    by_colour = {0, *linings.colour_levels(lining)}
    by_glaze = {level + 1 for level in by_colour if level <= 2}
    return tuple(sorted(by_colour | by_glaze))


def make_skin(
    rng: np.random.Generator,
    kind: str,
    shape: PlateShape | BandShape,
    level: int,
    *,
    lining: Lining | None = None,
    look: Look | None = None,
    resolution: int = RESOLUTION,
) -> Skin:
    """A part whose face reads heat level ``level`` by the contract's tables.

    Parameters
    ----------
    kind
        One of the contract's four.
    shape
        A `BandShape` for a band, else a `PlateShape`.
    level
        0..4, one of `reachable_levels`.
    lining
        For friction plates and bands; by default any that can show the level and is not held out.
    look
        What else it shows.
    resolution
        Map pixels along x.

    Raises
    ------
    ValueError
        When lining, kind or shape cannot show this level.
    """
    look, grid = look or Look(), _grid(kind, shape, resolution)
    if kind in (STEEL, REACTION):
        return paint_steel(rng, kind, grid, level, look)
    if lining is None:
        able = [x for x in LININGS if not x.held_out and _can_show(x, look.wet, kind, level)]
        lining = able[int(rng.integers(len(able)))]
    elif level not in reachable_levels(kind, linings.wet(lining) if look.wet else lining):
        raise ValueError(f"{lining.name} cannot show level {level}")
    return paint_lined(rng, kind, grid, shape.lining_thickness, level, lining, look)


def make_clean_skin(
    lining: Lining,
    shape: PlateShape | BandShape,
    *,
    rng: np.random.Generator,
    look: Look | None = None,
    resolution: int = RESOLUTION,
) -> Skin:
    """An unused part of this lining, for a reference photo."""
    kind = BAND if isinstance(shape, BandShape) else FRICTION
    grid = _grid(kind, shape, resolution)
    return paint_clean(rng, kind, grid, shape.lining_thickness, lining, look or Look())


def _can_show(lining: Lining, wet: bool, kind: str, level: int) -> bool:
    shown = linings.wet(lining) if wet else lining
    return shown.lab[0] >= linings.TOO_DARK_L and level in reachable_levels(kind, shown)


def _grid(kind: str, shape: PlateShape | BandShape, resolution: int) -> Grid:
    if kind == BAND and isinstance(shape, BandShape):
        return band_grid(shape, resolution)
    if kind in (FRICTION, STEEL, REACTION) and isinstance(shape, PlateShape):
        return plate_grid(shape, resolution)
    raise ValueError(f"a {kind} cannot have a {type(shape).__name__}")
