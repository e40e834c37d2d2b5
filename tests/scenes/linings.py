"""Invented friction linings: clean colour, texture and the way heat turns them brown, then black.

Colours are invented, within what used transmission parts look like (common practice, no source). A third
is held out: nothing may be tuned on scenes that show them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tests.scenes.colours import delta_e00

TOO_DARK_L = 30.0  # contract: under this clean L* colour cannot show heat
BURNT_OUT_LAB = (11.0, 1.2, 1.8)  # end of every heat path: soot-black, a shade warm


@dataclass(frozen=True, slots=True)
class Lining:
    """One invented lining material, dry unless said otherwise."""

    name: str
    lab: tuple[float, float, float]  # clean colour, median over the face
    weave: Literal["paper", "coarse paper", "woven"]
    mottle: float  # Delta E rms of the clean fibres' tone, unaveraged
    fibre_mm: float  # typical fibre length
    relief_mm: float  # rms height of the clean grain
    roughness: float  # clean GGX alpha
    specular: float  # clean weight of the sheen
    held_out: bool = False

    @property
    def sheen(self) -> float:
        """Clean sheen: specular weight over roughness, the quantity that glazing raises."""
        return self.specular / self.roughness


LININGS = (
    Lining("tan paper", (61.0, 8.0, 24.0), "paper", 3.2, 1.3, 0.018, 0.86, 0.20),
    Lining("coarse tan", (55.5, 9.5, 22.0), "coarse paper", 4.0, 2.2, 0.032, 0.92, 0.16),
    Lining("leaf green", (48.0, -9.0, 16.0), "paper", 3.4, 1.2, 0.020, 0.85, 0.20),
    Lining("brick red-brown", (41.5, 17.0, 18.0), "paper", 3.0, 1.4, 0.022, 0.88, 0.18),
    Lining("ash grey", (50.0, 0.2, 3.0), "coarse paper", 3.5, 1.6, 0.026, 0.90, 0.17),
    Lining("dark olive", (35.5, -1.5, 13.0), "paper", 2.6, 1.2, 0.020, 0.86, 0.20),
    Lining("soot black", (22.5, 0.8, 2.0), "coarse paper", 2.2, 1.5, 0.026, 0.84, 0.22),
    Lining("kraft", (66.0, 6.0, 22.5), "coarse paper", 3.8, 2.0, 0.024, 0.92, 0.16, held_out=True),
    Lining("sage green", (56.0, -6.0, 13.5), "coarse paper", 3.5, 1.6, 0.024, 0.89, 0.18, held_out=True),
    Lining("cocoa", (45.0, 9.0, 15.0), "paper", 3.0, 1.2, 0.020, 0.84, 0.21, held_out=True),
    Lining("woven black", (19.0, 0.0, -0.8), "woven", 2.4, 1.0, 0.030, 0.76, 0.26, held_out=True),
)
BY_NAME = {lining.name: lining for lining in LININGS}

# Families that `drawn_lining` draws from: share of the trade, then ranges of clean L*, a*, b*.
FAMILIES: tuple[tuple[float, tuple[float, float], tuple[float, float], tuple[float, float]], ...] = (
    (0.24, (50, 69), (4, 11), (15, 27)),  # tan, kraft, blond
    (0.17, (38, 59), (-13, -3), (7, 20)),  # greens
    (0.15, (35, 49), (8, 20), (10, 23)),  # red-brown
    (0.18, (38, 63), (-2, 2), (-2, 6)),  # greys
    (0.10, (40, 56), (-5, 1), (-12, -3)),  # blue-grey
    (0.10, (31, 41), (-3, 9), (4, 15)),  # dark brown and olive
    (0.06, (16, 28), (-1.5, 1.5), (-2, 3)),  # black
)
DRAWN = "drawn "


@cache
def drawn_lining(number: int) -> Lining:
    """An invented lining by its number, ``drawn <number>``: more of them than anybody could list.

    Every third one is held out. Families and ranges are invented, within what used transmission parts
    look like (common practice, no source).
    """
    rng = np.random.default_rng([20250312, number])
    family = FAMILIES[int(rng.choice(len(FAMILIES), p=[f[0] for f in FAMILIES]))]
    lightness, a, b = (float(rng.uniform(*span)) for span in family[1:])
    weave: Literal["paper", "coarse paper", "woven"] = ("paper", "coarse paper", "woven")[
        int(rng.choice(3, p=(0.45, 0.42, 0.13)))
    ]  # type: ignore[assignment]
    coarse = 0.0 if weave == "paper" else 1.0
    return Lining(
        name=f"{DRAWN}{number}",
        lab=(lightness, a, b),
        weave=weave,
        mottle=float(rng.uniform(2.0, 3.4) + 0.7 * coarse) * min(1.0, 0.55 + lightness / 110),
        fibre_mm=float(rng.uniform(0.9, 1.6) + 0.6 * coarse),
        relief_mm=float(rng.uniform(0.016, 0.024) + 0.008 * coarse),
        roughness=float(rng.uniform(0.8, 0.93)),
        specular=float(rng.uniform(0.15, 0.23)),
        held_out=number % 3 == 2,
    )


def lining_named(name: str) -> Lining:
    """A listed lining, or a drawn one by its number. Raises KeyError for any other name."""
    return drawn_lining(int(name.removeprefix(DRAWN))) if name.startswith(DRAWN) else BY_NAME[name]


def wet(lining: Lining) -> Lining:
    """The same lining soaked in oil: darker, a little richer in colour, shinier; the grain stays.

    The darkening (a sixth of L*) is common practice, no source.
    """
    lightness, a, b = lining.lab
    return Lining(
        lining.name,
        (lightness * 0.84, a * 1.08, b * 1.08),
        lining.weave,
        lining.mottle * 1.1,
        lining.fibre_mm,
        lining.relief_mm,
        0.36,
        0.75,
        lining.held_out,
    )


def heat_path(lining: Lining, brownness: float, steps: int = 512) -> NDArray[np.float64]:
    """Lab (steps, 3) from clean (row 0) through brown to charred (last row).

    ``brownness`` 0..1.2: how warm the half-way colour is; low is a sooty darkening.
    """
    t = np.linspace(0, 1, steps)[:, None]
    clean, end = np.array(lining.lab), np.array(BURNT_OUT_LAB)
    lightness = clean[0] + (end[0] - clean[0]) * t
    brown = np.array([5.8, 13.5]) * brownness * np.sqrt(np.clip(lightness, 1, None) / 45)
    to_brown = _smoothstep(t / 0.55)
    to_black = _smoothstep((t - 0.4) / 0.6)
    ab = clean[1:] + (brown - clean[1:]) * to_brown
    ab = ab + (end[1:] - ab) * to_black
    return np.concatenate([lightness, ab], axis=1)


def path_crossings(lining: Lining, path: NDArray[np.float64]) -> tuple[float | None, ...]:
    """Position 0..1 on a heat path where the contract's colour rows 1 to 4 begin; None where never.

    Row 4 is char: L* at most half the clean L* and Delta E above 15, above 10 where the clean L* is
    under 40.
    """
    difference = delta_e00(path, np.array(lining.lab))
    charred = (path[:, 0] <= lining.lab[0] / 2) & (difference > char_limit(lining.lab[0]))
    return tuple(_first(holds) for holds in (difference > 5, difference > 10, difference > 20, charred))


def colour_levels(lining: Lining) -> dict[int, tuple[float, float | None]]:
    """Levels that colour alone can show, each with where it begins on the path and the next row above it.

    A level whose row begins barely before a higher one (dark linings: char comes before Delta E 20) is
    left out. A lining too dark to show heat gets evenly spaced steps, so that heat can still be drawn.
    """
    if lining.lab[0] < TOO_DARK_L:
        return {1: (0.2, 0.4), 2: (0.4, 0.65), 3: (0.65, 0.85), 4: (0.85, None)}
    crossings = path_crossings(lining, heat_path(lining, 1.0))
    levels: dict[int, tuple[float, float | None]] = {}
    for level, begins in enumerate(crossings, start=1):
        later = [x for x in crossings[level:] if x is not None]
        if begins is not None and min(later, default=np.inf) > 1.12 * begins:
            levels[level] = (begins, min(later, default=None))
    return levels


def char_limit(clean_lightness: float) -> float:
    """Delta E that char must exceed on a lining of this clean L*, by the contract."""
    return 10.0 if clean_lightness < 40 else 15.0


def _first(holds: NDArray[np.bool_]) -> float | None:
    return float(np.argmax(holds)) / (len(holds) - 1) if holds.any() else None


def _smoothstep(x: NDArray[np.float64]) -> NDArray[np.float64]:
    x = np.clip(x, 0, 1)
    return x * x * (3 - 2 * x)
