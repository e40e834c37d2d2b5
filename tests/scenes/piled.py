"""The catalogue of piled plates: ninety scenes, fanned, stacked, in a drum, on edge, through holes."""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.random import Generator

from tests.scenes.bench import BENCHES, HELD_OUT_BENCHES, LIGHTS
from tests.scenes.catalogue import PartSpec, Scene, draw_parts
from tests.scenes.clutter import OTHER_THINGS, ROUND_THINGS
from tests.scenes.lamps import HELD_OUT_LIGHTS
from tests.scenes.piles import DRUM, FAN, LAYOUTS, ON_EDGE, STACK
from tests.scenes.skin import FRICTION, REACTION, STEEL

PER_LAYOUT = 18


def piled_scenes() -> tuple[Scene, ...]:
    """Eighteen scenes of each of `piles.LAYOUTS`; every third is untouched."""
    rng = np.random.default_rng(20251128)
    levels: dict[bool, tuple[Counter[int], Counter[int]]] = {t: (Counter(), Counter()) for t in (True, False)}
    scenes = []
    for number in range(PER_LAYOUT * len(LAYOUTS)):
        layout, k = LAYOUTS[number % len(LAYOUTS)], number // len(LAYOUTS)
        tuned = k % 3 != 2
        scenes.append(_scene(rng, number, layout, tuned, levels[tuned]))
    return tuple(scenes)


def _scene(
    rng: Generator, number: int, layout: str, tuned: bool, levels: tuple[Counter[int], Counter[int]]
) -> Scene:
    lining = f"drawn {600 + 3 * number + (int(rng.integers(2)) if tuned else 2)}"
    slant = (
        float(rng.uniform(0, 12)) if layout in (DRUM, ON_EDGE) else float(np.clip(rng.gamma(2.0, 7.0), 0, 35))
    )
    clutter = [str(name) for name in rng.choice([*ROUND_THINGS, *OTHER_THINGS], int(rng.integers(0, 5)))]
    benches = (
        HELD_OUT_BENCHES if not tuned and number % 2 else [b for b in BENCHES if b not in HELD_OUT_BENCHES]
    )
    lights = [name for name in LIGHTS if not tuned or name not in HELD_OUT_LIGHTS]
    return Scene(
        id=f"p{number:03d}",
        seed=60000 + number,
        tuned=tuned,
        bench=str(rng.choice(list(benches))),
        light=str(rng.choice(lights)),
        layout=layout,
        parts=_parts(rng, layout, lining, levels),
        shape_seed=63000 + number,
        slant_deg=slant,
        neutral="white paper" if layout != DRUM and rng.random() < 0.5 else None,
        clutter=tuple(clutter),
        apply_end=str(rng.choice(["left", "right", "top", "bottom"])),
        fill=float(rng.uniform(0.75, 0.92)),
        size=(1200, 900),
        orientation=1,
        alike=True,
        phone="varied",
        tags={"template": layout},
    )


def _parts(
    rng: Generator, layout: str, lining: str, levels: tuple[Counter[int], Counter[int]]
) -> tuple[PartSpec, ...]:
    """What lies in the pile, the lowest or farthest first."""
    if layout == DRUM:
        n = int(rng.integers(1, 4))
        both = draw_parts(rng, "alternating", lining, *levels, None)[0][: 2 * n]
        # The last to go in is a reaction plate, a steel, or a friction whose pressure plate is out.
        top = str(rng.choice([REACTION, STEEL, FRICTION], p=[0.3, 0.35, 0.35]))
        kept = [p for p in both if p.kind != REACTION]
        if top == FRICTION:
            return tuple(sorted(kept, key=lambda p: p.kind == FRICTION))
        return (*kept, PartSpec(top, int(rng.integers(5))))
    n = int(rng.integers(3, 6)) if layout == FAN else int(rng.integers(2, 4))
    template = str(rng.choice(["frictions", "steels", "alternating"], p=[0.5, 0.2, 0.3]))
    if layout == ON_EDGE:
        n = int(rng.integers(1, 4))
    pool: list[PartSpec] = []
    while len(pool) < n:
        name = {"frictions": "friction row", "steels": "steel row", "alternating": "alternating"}[template]
        pool += [p for p in draw_parts(rng, name, lining, *levels, None)[0] if p.kind != REACTION]
    if layout == STACK and template == "alternating" and rng.random() < 0.5:
        pool = pool[1:] or pool
    return tuple(pool[:n])
