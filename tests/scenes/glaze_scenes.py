"""Scenes of lined plates to fit readings to alone: ``python -m tests.scenes glaze-training``.

Each shop has a lining of its own, a clean photo of it, and photos of glazed, wet, oily, heated and plain
plates of it under lamps and by phones of their own. Nothing here is held out anywhere.
"""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from tests.scenes.bench import BENCHES, HELD_OUT_BENCHES, LIGHTS
from tests.scenes.boards import MORE_BENCHES, MORE_HELD_OUT_BENCHES
from tests.scenes.catalogue import PartSpec, Scene
from tests.scenes.lamps import HELD_OUT_LIGHTS, MORE_LIGHTS
from tests.scenes.linings import drawn_lining
from tests.scenes.look import Look
from tests.scenes.skin import FRICTION

FOLDER = "glaze-training"
SHOPS, A_SHOP = 152, 3
FIRST_LINING = 3000  # of `drawn_lining`, far from those of other catalogues
# Of one, two and three plates: pixels of the photo, and the share of it that they fill.
SIZES = {1: (1200, 900), 2: (1440, 1080), 3: (1600, 1200)}
FILL = {1: (0.5, 0.9), 2: (0.8, 0.92), 3: (0.85, 0.94)}
_HELD_OUT = {*HELD_OUT_BENCHES, *MORE_HELD_OUT_BENCHES, *HELD_OUT_LIGHTS}
_BENCHES = [name for name in (*BENCHES, *MORE_BENCHES) if name not in _HELD_OUT]
_LIGHTS = [name for name in (*LIGHTS, *MORE_LIGHTS) if name not in _HELD_OUT]


def glaze_scenes() -> tuple[Scene, ...]:
    """`A_SHOP` photos and a clean one of each of `SHOPS` linings."""
    rng = np.random.default_rng(20261129)
    free = [n for n in range(FIRST_LINING, FIRST_LINING + 2 * SHOPS) if not drawn_lining(n).held_out]
    return tuple(scene for shop in range(SHOPS) for scene in _shop(rng, shop, f"drawn {free[shop]}"))


def _shop(rng: Generator, shop: int, lining: str) -> list[Scene]:
    shape_seed = 73000 + shop
    scenes = [
        _photo(rng, f"g{shop:03d}{'abc'[k]}", shop * 4 + k, lining, shape_seed, _parts(rng, lining))
        for k in range(A_SHOP)
    ]
    parts = (PartSpec(FRICTION, 0, lining, Look(ink=False, oil=False)),)
    return [*scenes, _photo(rng, f"g{shop:03d}r", shop * 4 + A_SHOP, lining, shape_seed, parts, clean=True)]


def _parts(rng: Generator, lining: str) -> tuple[PartSpec, ...]:
    count = int(rng.choice([1, 2, 3], p=(0.4, 0.3, 0.3)))
    return tuple(
        PartSpec(
            FRICTION,
            int(rng.choice(5, p=(0.25, 0.3, 0.25, 0.15, 0.05))),
            lining,
            Look(by_glaze=bool(rng.random() < 0.5), oil=bool(rng.random() < 0.35)),
        )
        for _ in range(count)
    )


def _photo(
    rng: Generator,
    name: str,
    number: int,
    lining: str,
    shape_seed: int,
    parts: tuple[PartSpec, ...],
    clean: bool = False,
) -> Scene:
    return Scene(
        id=name,
        seed=70000 + number,
        tuned=True,
        bench=str(rng.choice(_BENCHES)),
        light=str(rng.choice(_LIGHTS)),
        layout="row",
        parts=parts,
        shape_seed=shape_seed,
        slant_deg=float(np.clip(rng.gamma(2.0, 8.0), 0, 40)),
        neutral=str(rng.choice(["white paper", "grey card"])),
        reference=None if clean else f"g{number // 4:03d}r",
        fill=float(rng.uniform(*FILL[len(parts)])),
        size=SIZES[len(parts)],
        orientation=1,
        clean=clean,
        alike=True,
        phone="varied",
    )
