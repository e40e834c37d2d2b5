"""What a person's heat levels are held against: the measured shares of each row of the rules."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from wearview.agreement.thresholds import Eye
from wearview.settings import Rules
from wearview.terms import LINED_KINDS

LINING_ROWS = ("lining.area_over_5", "lining.area_over_10", "lining.area_over_20", "lining.area_char")
STEEL_ROWS = ("steel.straw", "steel.brown_and_purple", "steel.blue", "steel.grey")


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """A graded part of a document, the pack it came from, and a technician's heat level for it."""

    part: dict[str, Any]
    pack: str
    heat: int


def lining_eye(judged: Iterable[Judged], rules: Rules) -> Eye:
    """Linings; those without a grade are left out, for what was measured on them decides nothing."""
    chosen = [j for j in judged if j.part["kind"] in LINED_KINDS and j.part["grade"]]
    found = [j.part["discoloration"] for j in chosen]
    values = [[d["area_over_5"], d["area_over_10"], d["area_over_20"], d["area_char"]] for d in found]
    index = [j.part["glazing"]["index"] if j.part["glazing"] else None for j in chosen]
    glazed = [i is not None and i >= rules.glazing_index for i in index]
    return _eye(chosen, values, [[False] * 4 for _ in chosen], glazed, rules.glazing_highest)


def steel_eye(judged: Iterable[Judged], rules: Rules) -> Eye:
    """Steels and reaction plates; hot spots hold their rows as the rules have it."""
    chosen = [j for j in judged if j.part["kind"] not in LINED_KINDS and j.part["grade"]]
    areas = [j.part["heat_tint"]["area"] for j in chosen]
    spots = [j.part["heat_tint"]["hot_spots"] for j in chosen]
    values = [[a["straw"], a["brown"] + a["purple"], a["blue"], a["grey"]] for a in areas]
    held = [
        [False, False, (s["count"] or 0) >= rules.spots_count, (s["area"] or 0.0) >= rules.spots_area]
        for s in spots
    ]
    return _eye(chosen, values, held, [False] * len(chosen), -1)


def _eye(
    chosen: list[Judged],
    values: list[list[float]],
    held: list[list[bool]],
    raised: list[bool],
    highest_raised: int,
) -> Eye:
    _, pack = np.unique([j.pack for j in chosen], return_inverse=True)
    return Eye(
        np.array(values, float).reshape(-1, 4),
        np.array(held, bool).reshape(-1, 4),
        np.array(raised, bool),
        highest_raised,
        np.array([j.heat for j in chosen], np.int64),
        np.asarray(pack, np.int64),
    )
