"""Scenes of lined plates to fit readings to alone: ``python -m tests.scenes glaze-training``.

Each shop has a lining of its own, a clean photo of it, and photos of glazed, wet, oily, heated and plain
plates of it under lamps and by phones of their own. ``heat-training`` has others, whose heat turns some of
them brown and others sooty. Nothing here is held out anywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tests.scenes.bench import BENCHES, HELD_OUT_BENCHES, LIGHTS
from tests.scenes.boards import MORE_BENCHES, MORE_HELD_OUT_BENCHES
from tests.scenes.catalogue import PartSpec, Scene
from tests.scenes.lamps import HELD_OUT_LIGHTS, MORE_LIGHTS
from tests.scenes.linings import drawn_lining
from tests.scenes.look import Look
from tests.scenes.skin import FRICTION

A_SHOP = 3
# Of one, two and three plates: pixels of the photo, and the share of it that they fill.
SIZES = {1: (1200, 900), 2: (1440, 1080), 3: (1600, 1200)}
FILL = {1: (0.5, 0.9), 2: (0.8, 0.92), 3: (0.85, 0.94)}
_HELD_OUT = {*HELD_OUT_BENCHES, *MORE_HELD_OUT_BENCHES, *HELD_OUT_LIGHTS}
_BENCHES = [name for name in (*BENCHES, *MORE_BENCHES) if name not in _HELD_OUT]
_LIGHTS = [name for name in (*LIGHTS, *MORE_LIGHTS) if name not in _HELD_OUT]


@dataclass(frozen=True, slots=True)
class Series:
    """One catalogue of the kind."""

    letter: str  # that its ids begin with
    shops: int
    seed: int
    first_lining: int  # of `drawn_lining`, far from those of other catalogues
    first_scene: int  # seed of its first photo
    levels: tuple[float, ...]  # share of each
    glazed: float  # share of plates that reach their level with the help of glaze
    brownness: tuple[float, float] | None = None  # of `heat_path`; None leaves it to chance


GLAZE = Series("g", 152, 20261129, 3000, 70000, (0.25, 0.3, 0.25, 0.15, 0.05), 0.5)
HEAT = Series("h", 84, 20261132, 4000, 80000, (0.3, 0.3, 0.2, 0.12, 0.08), 0.35, (0.15, 1.2))


def glaze_scenes(series: Series = GLAZE) -> tuple[Scene, ...]:
    """`A_SHOP` photos and a clean one of each of its linings."""
    rng = np.random.default_rng(series.seed)
    numbers = range(series.first_lining, series.first_lining + 2 * series.shops)
    free = [n for n in numbers if not drawn_lining(n).held_out]
    return tuple(
        scene for shop in range(series.shops) for scene in _shop(rng, series, shop, f"drawn {free[shop]}")
    )


def _shop(rng: Generator, series: Series, shop: int, lining: str) -> list[Scene]:
    name, first = f"{series.letter}{shop:03d}", series.first_scene + shop * (A_SHOP + 1)
    shape_seed = series.first_scene + 3000 + shop
    scenes = [
        _photo(rng, f"{name}{'abc'[k]}", first + k, shape_seed, _parts(rng, series, lining), f"{name}r")
        for k in range(A_SHOP)
    ]
    parts = (PartSpec(FRICTION, 0, lining, Look(ink=False, oil=False)),)
    return [*scenes, _photo(rng, f"{name}r", first + A_SHOP, shape_seed, parts)]


def _parts(rng: Generator, series: Series, lining: str) -> tuple[PartSpec, ...]:
    count = int(rng.choice([1, 2, 3], p=(0.4, 0.3, 0.3)))
    return tuple(
        PartSpec(
            FRICTION,
            int(rng.choice(5, p=series.levels)),
            lining,
            Look(
                by_glaze=bool(rng.random() < series.glazed),
                oil=bool(rng.random() < 0.35),
                brownness=float(rng.uniform(*series.brownness)) if series.brownness else None,
            ),
        )
        for _ in range(count)
    )


def _photo(
    rng: Generator,
    name: str,
    seed: int,
    shape_seed: int,
    parts: tuple[PartSpec, ...],
    reference: str | None = None,
) -> Scene:
    """Of used plates beside the clean photo `reference`; without one, that clean photo."""
    return Scene(
        id=name,
        seed=seed,
        tuned=True,
        bench=str(rng.choice(_BENCHES)),
        light=str(rng.choice(_LIGHTS)),
        layout="row",
        parts=parts,
        shape_seed=shape_seed,
        slant_deg=float(np.clip(rng.gamma(2.0, 8.0), 0, 40)),
        neutral=str(rng.choice(["white paper", "grey card"])),
        reference=reference,
        fill=float(rng.uniform(*FILL[len(parts)])),
        size=SIZES[len(parts)],
        orientation=1,
        clean=reference is None,
        alike=True,
        phone="varied",
    )
