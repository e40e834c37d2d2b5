"""The broad catalogue: more linings, benches, lamps, phones and clutter than the first; part-free benches.

Nothing here shares a seed with the first catalogue. Sixty shops of four scenes each and a clean photo; in
every third shop lining, half the benches and some lamps are held out.
"""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import replace

import numpy as np
from numpy.random import Generator

from tests.scenes.bench import BENCHES, HELD_OUT_BENCHES, LIGHTS
from tests.scenes.boards import ANY, MORE_BENCHES, MORE_HELD_OUT_BENCHES
from tests.scenes.catalogue import DEFECTS, TEMPLATES, PartSpec, Scene, draw_parts, fill_of
from tests.scenes.clutter import NEUTRALS, OTHER_THINGS, ROUND_THINGS
from tests.scenes.lamps import HELD_OUT_LIGHTS, MORE_LIGHTS
from tests.scenes.look import Look
from tests.scenes.round_things import MORE_ROUND_THINGS
from tests.scenes.skin import BAND, FRICTION

SHOPS, FRESH_SHOPS, FURTHER_SHOPS, A_SHOP = 60, 30, 30, 4
SECOND_FRESH_SHOPS, THIRD_FRESH_SHOPS = range(150, 180), range(180, 210)
RIM_TRAINING, RIM_TRAINING_FROM = 400, 270  # photos; the first shop of theirs
SIZES = ((1600, 1200), (1600, 1200), (1440, 1080), (1760, 1320), (1680, 945))
RELIGHT_TUNED, RELIGHT_UNTOUCHED = 27, 13
PART_FREE, FURTHER_PART_FREE = 300, 240
WHOLE_PLATE = ("single friction", "steel row", "pair")  # what stands in a photo gone wrong


def broad_scenes() -> tuple[Scene, ...]:
    """240 scenes, 80 of them untouched, and the clean photos that they name, last within their shop."""
    rng = np.random.default_rng(20251107)
    scenes: list[Scene] = []
    thirds = {True: _Third(), False: _Third()}
    for shop in range(SHOPS):
        tuned = shop % 3 != 2
        scenes += _shop(rng, shop, tuned, thirds[tuned])
    return tuple(scenes)


def fresh_scenes() -> tuple[Scene, ...]:
    """120 more of the kind, all untouched, and their clean photos: right on the others may be luck."""
    rng = np.random.default_rng(20261130)
    third = _Third()
    return tuple(
        scene for shop in range(SHOPS, SHOPS + FRESH_SHOPS) for scene in _shop(rng, shop, False, third)
    )


def second_fresh_scenes() -> tuple[Scene, ...]:
    """120 others, all untouched, and their clean photos: the first have been read often."""
    rng = np.random.default_rng(20261131)
    third = _Third()
    return tuple(scene for shop in SECOND_FRESH_SHOPS for scene in _shop(rng, shop, False, third))


def third_fresh_scenes() -> tuple[Scene, ...]:
    """120 others again, all untouched, and their clean photos."""
    rng = np.random.default_rng(20261132)
    third = _Third()
    return tuple(scene for shop in THIRD_FRESH_SHOPS for scene in _shop(rng, shop, False, third))


def any_bench_scenes() -> tuple[Scene, ...]:
    """120 more, none untouched, each on a bench put together by chance, and their clean photos."""
    rng = np.random.default_rng(20261133)
    third, first = _Third(), THIRD_FRESH_SHOPS.stop
    shops = [shop for shop in range(first, first + 2 * FURTHER_SHOPS) if shop % 3 != 2][:FURTHER_SHOPS]
    return tuple(replace(scene, bench=ANY) for shop in shops for scene in _shop(rng, shop, True, third))


def further_scenes() -> tuple[Scene, ...]:
    """120 more of the kind, none untouched, and their clean photos: faults that the others no longer show."""
    rng = np.random.default_rng(20261129)
    third, first = _Third(), SHOPS + FRESH_SHOPS
    shops = [shop for shop in range(first, first + 2 * FURTHER_SHOPS) if shop % 3 != 2][:FURTHER_SHOPS]
    return tuple(scene for shop in shops for scene in _shop(rng, shop, True, third))


def rim_training_scenes() -> tuple[Scene, ...]:
    """400 photos of plates, every other shop's on a bench put together by chance: rims are fitted to them
    alone."""
    rng = np.random.default_rng(20261134)
    third, scenes = _Third(), list[Scene]()
    for shop in (shop for shop in itertools.count(RIM_TRAINING_FROM) if shop % 3 != 2):
        for scene in _shop(rng, shop, True, third):
            if not scene.clean and scene.gradeable and any(part.kind != BAND for part in scene.parts):
                scenes.append(replace(scene, bench=ANY) if shop % 2 else scene)
        if len(scenes) >= RIM_TRAINING:
            break
    return tuple(scenes[:RIM_TRAINING])


def relit_scenes() -> tuple[Scene, ...]:
    """The forty scenes of the broad catalogue that are photographed under four lights each."""
    able = [s for s in broad_scenes() if s.gradeable and s.neutral and not s.clean]
    tuned = [s for s in able if s.tuned][::3]
    untouched = [s for s in able if not s.tuned][::3]
    return (*tuned[:RELIGHT_TUNED], *untouched[:RELIGHT_UNTOUCHED])


def part_free_scenes() -> tuple[Scene, ...]:
    """300 small photos of benches with round clutter and no part; every third is untouched."""
    rng = np.random.default_rng(20251108)
    return tuple(_part_free(rng, k, k % 3 != 2) for k in range(PART_FREE))


def further_part_free_scenes() -> tuple[Scene, ...]:
    """240 more of the kind, none untouched."""
    rng = np.random.default_rng(20261128)
    return tuple(_part_free(rng, k, True) for k in range(PART_FREE, PART_FREE + FURTHER_PART_FREE))


class _Third:
    """What has been used so far in the tuned or the untouched part of the catalogue."""

    def __init__(self) -> None:
        self.levels: Counter[int] = Counter()
        self.steel_levels: Counter[int] = Counter()
        self.scenes = self.spoiled = 0


def _shop(rng: Generator, shop: int, tuned: bool, third: _Third) -> list[Scene]:
    lining = f"drawn {shop}"
    bench, light = _bench(shop, tuned), _light(shop, tuned)
    neutral = None if shop % 10 in (3, 6, 8) else ("white paper" if rng.random() < 0.65 else "grey card")
    scenes = []
    for k in range(A_SHOP):
        template = TEMPLATES[third.scenes % len(TEMPLATES)]
        third.scenes += 1
        defect = None
        if template == "spoiled":
            defect, third.spoiled = DEFECTS[third.spoiled % len(DEFECTS)], third.spoiled + 1
            template = "single friction" if defect == "covered" else str(rng.choice(WHOLE_PLATE))
        parts, layout = draw_parts(rng, template, lining, third.levels, third.steel_levels, defect)
        scenes.append(
            _scene(rng, shop, k, tuned, bench, light, neutral, lining, template, defect, parts, layout)
        )
    clean = Scene(
        id=f"c{shop:02d}",
        seed=47000 + shop,
        tuned=tuned,
        bench=bench,
        light=light,
        layout="row",
        parts=(PartSpec(FRICTION, 0, lining, Look(ink=False)),),
        shape_seed=scenes[0].shape_seed,
        slant_deg=float(rng.uniform(0, 16)),
        neutral=neutral,
        clutter=_clutter(rng, 1),
        fill=0.62,
        size=(1200, 900),
        taken_at=f"2025:09:{1 + shop // 3 % 30:02d} {9 + shop % 8:02d}:05:00",
        orientation=1,
        clean=True,
        alike=True,
        phone="varied",
        tags={"template": "reference", "shop": f"{shop:02d}"},
    )
    return [*scenes, clean]


def _scene(
    rng: Generator,
    shop: int,
    k: int,
    tuned: bool,
    bench: str,
    light: str,
    neutral: str | None,
    lining: str,
    template: str,
    defect: str | None,
    parts: tuple[PartSpec, ...],
    layout: str,
) -> Scene:
    number = shop * A_SHOP + k
    apply_end = "left"
    if len(parts) > 2:
        apply_end = str(rng.choice(["left", "left", "left", "right", "top", "bottom"]))
    size = SIZES[int(rng.integers(len(SIZES)))]
    return Scene(
        id=f"b{number:03d}",
        seed=40000 + number,
        tuned=tuned,
        bench=bench,
        light=light,
        layout=layout,
        parts=parts,
        shape_seed=43000 + number,
        slant_deg=float(np.clip(rng.gamma(2.0, 9.0), 0, 45)) if k else float(rng.uniform(0, 14)),
        neutral=neutral,
        clutter=_clutter(rng, 8 if defect == "no part found" else int(rng.integers(1, 7))),
        defect=defect,
        reference=f"c{shop:02d}" if any(p.kind in (FRICTION, BAND) for p in parts) else None,
        apply_end=apply_end,
        shadow_edge=light == "window" and rng.random() < 0.35,
        fill=fill_of(rng, len(parts), defect),
        size=size[::-1] if apply_end in ("top", "bottom") else size,
        taken_at=f"2025:09:{1 + shop // 3 % 30:02d} {9 + shop % 8:02d}:{10 + 9 * k:02d}:00",
        first_on_top=bool(rng.random() < 0.4),
        alike=True,
        phone="varied",
        tags={"template": template if defect is None else "spoiled", "shop": f"{shop:02d}"},
    )


def _part_free(rng: Generator, k: int, tuned: bool) -> Scene:
    names = list(ROUND_THINGS) * 4 + list(MORE_ROUND_THINGS) * 4 + list(OTHER_THINGS) + list(NEUTRALS)
    return Scene(
        id=f"f{k:03d}",
        seed=50000 + k,
        tuned=tuned,
        bench=_bench(k, tuned),
        light=_light(k, tuned),
        layout="none",
        parts=(),
        shape_seed=53000 + k,
        slant_deg=float(np.clip(rng.gamma(2.0, 9.0), 0, 45)),
        clutter=tuple(str(name) for name in rng.choice(names, int(rng.integers(5, 13)))),
        defect="no part found",
        fill=float(rng.uniform(0.75, 1.15)),
        size=(960, 720),
        orientation=1,
        phone="varied",
        tags={"template": "part-free"},
    )


def _bench(shop: int, tuned: bool) -> str:
    held_out = (*HELD_OUT_BENCHES, *MORE_HELD_OUT_BENCHES)
    if not tuned and shop % 2:
        return held_out[(shop // 6) % len(held_out)]
    able = [name for name in (*BENCHES, *MORE_BENCHES) if name not in held_out]
    return able[(shop + shop // 9) % len(able)]


def _light(shop: int, tuned: bool) -> str:
    able = [name for name in (*LIGHTS, *MORE_LIGHTS) if not tuned or name not in HELD_OUT_LIGHTS]
    return able[(shop * 3 + shop // 7) % len(able)]


def _clutter(rng: Generator, n: int) -> tuple[str, ...]:
    names = [*ROUND_THINGS, *MORE_ROUND_THINGS, *OTHER_THINGS]
    return tuple(str(name) for name in rng.choice(names, n))
