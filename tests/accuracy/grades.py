"""Figures of the grades, and of the photos refused."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sklearn.metrics import cohen_kappa_score, confusion_matrix

from tests.accuracy.counts import Share, share, shares
from tests.accuracy.scoring import Json, Pair, Scored

LEVELS = (0, 1, 2, 3, 4)
TOO_DARK_L = 30.0  # contract: under this clean L* "cannot tell" is right
# What makes a photo or a part in it unfit to be graded; other problems only leave a doubt.
UNFIT = {
    "blurred",
    "too dark",
    "blown highlights",
    "too small",
    "cut off by the frame",
    "no part found",
    "covered",
    "edge view",
}


@dataclass(frozen=True, slots=True)
class GradeFigures:
    """Grades of matched parts whose truth lies clear of every threshold.

    Attributes
    ----------
    exact, within_one : Share
        Of the parts that got a grade.
    exact_of_all : Share
        Of those and the ones left ungraded.
    kappa : float
        Quadratic weights, labels 0 to 4; NaN when there is too little variety.
    confusion : tuple of tuple of int
        Rows are the truth.
    graded : Share
        Of all parts that can be graded, with a neutral in view and a clean L* of 30 or more; a part not
        found has no grade.
    truth_levels : dict
        How many parts are truly of each level; None is a lining too dark to tell.
    near_threshold : Share
        Exact among the parts left out for lying near a threshold.
    """

    exact: Share
    exact_of_all: Share
    within_one: Share
    worst: int
    kappa: float
    confusion: tuple[tuple[int, ...], ...]
    by_kind: dict[str, Share]
    by_light: dict[str, Share]
    graded: Share
    dark_graded: Share
    truth_levels: dict[int | None, int]
    near_threshold: Share


def grade_figures(scored: Sequence[Scored]) -> GradeFigures:
    """Figures of the grades."""
    fit = [(s, pair) for s in scored if s.scene["gradeable"] for pair in s.pairs]
    able = [
        (s, pair)
        for s, pair in fit
        if pair.seen is not None
        and pair.truth["truth"]["level"] is not None
        and pair.truth["truth"]["margin_ok"]
    ]
    graded = [(s, *levels) for s, pair in able if (levels := _levels(pair))[1] is not None]
    true, seen = [t for _, t, _ in graded], [g for _, _, g in graded]
    kinds = [pair.truth["kind"] for _, pair in able if _levels(pair)[1] is not None]
    lights = [s.photo["light"]["method"] for s, _, _ in graded]
    right = [t == g for t, g in zip(true, seen, strict=True)]
    near = [
        _levels(pair) for _, pair in fit if pair.seen is not None and not pair.truth["truth"]["margin_ok"]
    ]
    return GradeFigures(
        exact=share(right),
        exact_of_all=Share(sum(right), len(able)),
        within_one=share(abs(t - g) <= 1 for t, g in zip(true, seen, strict=True)),
        worst=max((abs(t - g) for t, g in zip(true, seen, strict=True)), default=0),
        kappa=quadratic_kappa(true, seen),
        confusion=tuple(tuple(int(v) for v in row) for row in confusion_matrix(true, seen, labels=LEVELS))
        if true
        else (),
        by_kind=shares(kinds, right),
        by_light=shares(lights, right),
        graded=share(
            _levels(pair)[1] is not None
            for s, pair in fit
            if s.scene["neutral_in_view"] and not _is_too_dark(pair.truth)
        ),
        dark_graded=share(_levels(pair)[1] is not None for _, pair in fit if _is_too_dark(pair.truth)),
        truth_levels=dict(
            sorted(Counter(_true_levels(fit)).items(), key=lambda item: (item[0] is None, item[0] or 0))
        ),
        near_threshold=share(true == seen for true, seen in near if seen is not None),
    )


def _true_levels(fit: Sequence[tuple[Scored, Pair]]) -> list[int | None]:
    return [pair.truth["truth"]["level"] for _, pair in fit]


def _levels(pair: Pair) -> tuple[Any, Any]:
    grade = pair.seen["grade"] if pair.seen else None
    return pair.truth["truth"]["level"], None if grade is None else grade["level"]


def _is_too_dark(part: Json) -> bool:
    clean = part["truth"]["clean_lab"]
    return clean is not None and clean[0] < TOO_DARK_L


def quadratic_kappa(true: Sequence[int], seen: Sequence[int]) -> float:
    """Cohen's kappa with quadratic weights over the levels 0 to 4, whichever of them occur.

    NaN when both sides hold one level throughout: too little variety to tell agreement from chance.

    References
    ----------
    J. Cohen (1968), Psychological Bulletin 70, 213-220.
    """
    if len(set(true) | set(seen)) < 2:
        return math.nan
    return float(cohen_kappa_score(true, seen, labels=LEVELS, weights="quadratic"))


@dataclass(frozen=True, slots=True)
class RefusalFigures:
    """Photos that cannot be graded and were refused, by reason, and the other way round.

    Attributes
    ----------
    refused : dict
        By true reason: refused at all.
    reason_named : dict
        By true reason: and that reason was among the problems.
    fit_refused : Share
        Photos that can be graded and were refused.
    references_refused : Share
        Of scenes with a clean photo.
    """

    refused: dict[str, Share]
    reason_named: dict[str, Share]
    fit_refused: Share
    references_refused: Share

    @property
    def all_refused(self) -> Share:
        """Over all reasons."""
        return Share(sum(s.k for s in self.refused.values()), sum(s.n for s in self.refused.values()))


def refusal_figures(scored: Sequence[Scored]) -> RefusalFigures:
    """Figures of refusals."""
    spoiled = [s for s in scored if not s.scene["gradeable"]]
    reasons = [s.scene["reason"] for s in spoiled]
    return RefusalFigures(
        refused=shares(reasons, [is_refused(s.photo) for s in spoiled]),
        reason_named=shares(reasons, [s.scene["reason"] in _problems(s.photo) for s in spoiled]),
        fit_refused=share(is_refused(s.photo) for s in scored if s.scene["gradeable"]),
        references_refused=share(s.reference_refused for s in scored if s.scene["reference"]),
    )


def is_refused(photo: Json) -> bool:
    """Whether a document says that nothing in a photo can be graded, for a reason that lies in the photo."""
    if not photo["quality"]["gradeable"]:
        return True
    return all(not part["gradeable"] and UNFIT & set(part["problems"]) for part in photo["parts"])


def _problems(photo: Json) -> set[str]:
    return set(photo["quality"]["problems"]) | {p for part in photo["parts"] for p in part["problems"]}
