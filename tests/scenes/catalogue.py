"""The scenes, as data: what lies where, in which light, and whether anything may be tuned on it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator

from tests.scenes.bench import BENCHES, HELD_OUT_BENCHES, LIGHTS
from tests.scenes.clutter import OTHER_THINGS, ROUND_THINGS
from tests.scenes.linings import LININGS, TOO_DARK_L, lining_named
from tests.scenes.look import Look
from tests.scenes.make import reachable_levels
from tests.scenes.skin import BAND, FRICTION, REACTION, STEEL

EVEN_ROUND = ("even", "inner", "outer", "middle")  # heat that a plate hidden in part shows all the same


@dataclass(frozen=True, slots=True)
class PartSpec:
    """One part of a scene."""

    kind: str
    level: int
    lining: str | None = None
    look: Look = field(default_factory=Look)


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything that decides a photo. The same scene and version of this package give the same photo."""

    id: str
    seed: int
    tuned: bool  # False: nothing in the program may be tuned on it
    bench: str
    light: str
    layout: str  # "row" | "leaning" | "none", or one of piles.LAYOUTS
    parts: tuple[PartSpec, ...]
    shape_seed: int  # scenes that show the same pack share it
    slant_deg: float
    neutral: str | None = None  # a name in clutter.NEUTRALS
    clutter: tuple[str, ...] = ()
    defect: str | None = None
    reference: str | None = None  # id of the scene that shows the clean part
    apply_end: str = "left"
    shadow_edge: bool = False
    fill: float = 0.85
    size: tuple[int, int] = (1600, 1200)
    outer_r: float | None = None  # mm, of the pack's frictions; None leaves it to chance
    taken_at: str = "2025:03:11 09:00:00"
    orientation: int | None = None  # None leaves it to chance
    wide_gamut: bool | None = None
    clean: bool = False  # parts are unused
    first_on_top: bool = False
    alike: bool = False  # one tool cut the grooves of all its lined parts
    phone: str = "plain"  # a name in camera.PHONES
    tags: dict[str, str] = field(default_factory=dict)

    @property
    def gradeable(self) -> bool:
        """Whether a person could grade this photo."""
        return self.defect is None


# (layout, how many parts, what they are) by turns over the shops; 24 shops of three scenes.
TEMPLATES = (
    "single friction", "friction row", "alternating", "pair", "leaning frictions", "steel row",
    "band", "single friction", "spoiled", "friction row", "reaction", "leaning frictions",
    "single friction", "alternating", "friction row", "spoiled", "band", "pair",
    "friction row", "single friction", "steel row", "alternating", "leaning frictions", "spoiled",
)  # fmt: skip
DEFECTS = (
    "blurred", "cut off by the frame", "too dark", "no part found", "covered",
    "too small", "blown highlights", "blurred", "no part found",
)  # fmt: skip
SHOPS = 24


def accuracy_scenes() -> tuple[Scene, ...]:
    """72 scenes and the clean references that they name, references last within their shop."""
    rng = np.random.default_rng(20250311)
    scenes: list[Scene] = []
    levels: Counter[int] = Counter()
    steel_levels: Counter[int] = Counter()
    spoiled = 0
    for shop in range(SHOPS):
        tuned = shop % 3 != 2
        lining = _shop_lining(shop, tuned)
        bench = _shop_bench(rng, shop, tuned)
        light = list(LIGHTS)[(shop * 3 + shop // 5) % len(LIGHTS)]
        neutral = None if shop % 10 in (3, 6, 8) else ("white paper" if rng.random() < 0.65 else "grey card")
        for k in range(3):
            template = TEMPLATES[(shop * 3 + k) % len(TEMPLATES)]
            defect = None
            if template == "spoiled":
                defect, spoiled = DEFECTS[spoiled % len(DEFECTS)], spoiled + 1
            number = shop * 3 + k
            parts, layout = draw_parts(rng, template, lining, levels, steel_levels, defect)
            lined = any(p.kind in (FRICTION, BAND) for p in parts)
            apply_end = (
                str(rng.choice(["left", "left", "left", "right", "top", "bottom"]))
                if len(parts) > 1
                else "left"
            )
            if template == "band" or len(parts) < 3:
                apply_end = "left"
            upright = apply_end in ("top", "bottom")
            scenes.append(
                Scene(
                    id=f"s{number:03d}",
                    seed=1000 + number,
                    tuned=tuned,
                    bench=bench,
                    light=light,
                    layout=layout,
                    parts=parts,
                    shape_seed=5000 + number,
                    slant_deg=float(np.clip(rng.gamma(2.0, 9.0), 0, 45)) if k else float(rng.uniform(0, 14)),
                    neutral=neutral,
                    clutter=_clutter(rng, 7 if defect == "no part found" else int(rng.integers(1, 6))),
                    defect=defect,
                    reference=f"r{shop:02d}" if lined else None,
                    apply_end=apply_end,
                    shadow_edge=light == "window" and rng.random() < 0.35,
                    fill=fill_of(rng, len(parts), defect),
                    size=(1200, 1600) if upright else (1600, 1200),
                    taken_at=f"2025:03:{11 + shop // 3:02d} {9 + shop % 8:02d}:{10 + 9 * k:02d}:00",
                    first_on_top=bool(rng.random() < 0.4),
                    tags={"template": template, "shop": f"{shop:02d}"},
                )
            )
        scenes.append(_reference(rng, shop, tuned, bench, light, lining, neutral))
    return tuple(scenes)


def _shop_lining(shop: int, tuned: bool) -> str:
    able = [x.name for x in LININGS if x.held_out != tuned]
    return able[(shop // 3 * (2 if tuned else 1) + shop % 3) % len(able)]


def _shop_bench(rng: Generator, shop: int, tuned: bool) -> str:
    if not tuned and shop % 2:
        return HELD_OUT_BENCHES[(shop // 2) % len(HELD_OUT_BENCHES)]
    able = [name for name in BENCHES if name not in HELD_OUT_BENCHES]
    return able[shop % len(able)]


def _reference(
    rng: Generator, shop: int, tuned: bool, bench: str, light: str, lining: str, neutral: str | None
) -> Scene:
    return Scene(
        id=f"r{shop:02d}",
        seed=3000 + shop,
        tuned=tuned,
        bench=bench,
        light=light,
        layout="row",
        parts=(PartSpec(FRICTION, 0, lining, Look(ink=False)),),
        shape_seed=7000 + shop,
        slant_deg=float(rng.uniform(0, 16)),
        neutral=neutral,
        clutter=_clutter(rng, 1),
        fill=0.62,
        size=(1200, 900),
        taken_at=f"2025:03:{11 + shop // 3:02d} {9 + shop % 8:02d}:05:00",
        orientation=1,
        clean=True,
        tags={"template": "reference", "shop": f"{shop:02d}"},
    )


def fill_of(rng: Generator, n: int, defect: str | None) -> float:
    if defect == "too small":
        return 0.05
    if defect == "cut off by the frame":
        return 1.5
    return float(rng.uniform(0.6, 0.8)) if n == 1 else float(rng.uniform(0.84, 0.95))


def _clutter(rng: Generator, n: int) -> tuple[str, ...]:
    names = list(ROUND_THINGS) * 2 + list(OTHER_THINGS)
    return tuple(str(name) for name in rng.choice(names, n))


def draw_parts(
    rng: Generator,
    template: str,
    lining: str,
    levels: Counter[int],
    steel_levels: Counter[int],
    defect: str | None,
) -> tuple[tuple[PartSpec, ...], str]:
    dark = lining_named(lining).lab[0] < TOO_DARK_L

    def lined(kind: str, n: int) -> list[PartSpec]:
        able = reachable_levels(kind, lining_named(lining))
        chosen = sorted(_rarest(rng, Counter() if dark else levels, able) for _ in range(n))
        if rng.random() < 0.35:
            rng.shuffle(chosen)
        return [PartSpec(kind, level, lining) for level in chosen]

    def metal(kind: str, n: int) -> list[PartSpec]:
        return [
            PartSpec(kind, level)
            for level in sorted(_rarest(rng, steel_levels, (0, 1, 2, 3, 4)) for _ in range(n))
        ]

    if defect == "no part found":
        return (), "none"
    if template in ("single friction", "spoiled"):
        return tuple(lined(FRICTION, 1)), "row"
    if template == "pair":
        return tuple(lined(FRICTION, 1) + metal(STEEL, 1)), "row"
    if template == "friction row":
        return tuple(lined(FRICTION, int(rng.choice([3, 3, 4, 5, 6])))), "row"
    if template == "leaning frictions":
        return tuple(
            PartSpec(p.kind, p.level, p.lining, Look(heat=str(rng.choice(EVEN_ROUND))))
            for p in lined(FRICTION, int(rng.integers(3, 7)))
        ), "leaning"
    if template == "steel row":
        return tuple(metal(STEEL, int(rng.integers(2, 5)))), "row"
    if template == "reaction":
        return tuple(metal(STEEL, int(rng.integers(0, 2))) + metal(REACTION, 1)), "row"
    if template == "band":
        return tuple(lined(BAND, 1)), "row"
    n = int(rng.integers(2, 5))
    both = [part for pair in zip(metal(STEEL, n), lined(FRICTION, n), strict=True) for part in pair]
    if rng.random() < 0.5 and n < 4:
        both.append(metal(REACTION, 1)[0])
    return tuple(both), "row"


def _rarest(rng: Generator, counts: Counter[int], able: tuple[int, ...]) -> int:
    """A level among the least used so far, so that every level gets its share."""
    least = min(counts[level] for level in able)
    level = int(rng.choice([x for x in able if counts[x] <= least + 1]))
    counts[level] += 1
    return level
