"""From scored scenes to the figures people read: mean, worst and N of each."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.accuracy.counts import Figure, Share, figure, share
from tests.accuracy.grades import GradeFigures, RefusalFigures, grade_figures, refusal_figures
from tests.accuracy.scoring import Overlap, Pair, Scored

KINDS = ("friction plate", "steel plate", "reaction plate", "band")
TINTS = ("bare", "straw", "brown", "purple", "blue", "grey", "other")
NEUTRAL_METHODS = ("card", "paper")
CLOSE = 0.005  # of the diameter: what is asked of axis ends
GLAZED = 60.0  # contract: from this index on glaze raises a level


@dataclass(frozen=True, slots=True)
class PartFigures:
    """How well parts are found, over photos that can be graded; clutter over all photos."""

    f1: float
    found: int
    missed: int
    extra: int
    worst_photo_f1: float
    part_iou: Figure
    face_iou: Figure
    worst_photo_face_iou: float
    worst_tenth_face_iou: float
    part_boundary_f: Figure
    face_boundary_f: Figure
    outer_axis_end: Figure
    inner_axis_end: Figure
    axis_ends_close: Share
    kind_right: Share
    kinds: dict[str, dict[str, int]]
    in_order: Share
    clutter_photos: Share
    clutter_parts: int


def part_figures(scored: Sequence[Scored]) -> PartFigures:
    """Figures of segmentation and kind."""
    fit = [s for s in scored if s.scene["gradeable"]]
    pairs = [pair for s in fit for pair in s.pairs]
    matched = [pair for pair in pairs if pair.seen is not None]
    extra = sum(s.clutter + s.misfits for s in fit)
    found, missed = len(matched), len(pairs) - len(matched)
    kinds: dict[str, dict[str, int]] = {true: dict.fromkeys((*KINDS, "missed"), 0) for true in KINDS}
    for pair in pairs:
        kinds[pair.truth["kind"]]["missed" if pair.seen is None else pair.seen["kind"]] += 1

    def over(name: str, worst: Callable[[list[float]], float] = min) -> Figure:
        return figure((getattr(pair.overlap, name) for pair in matched), worst)

    with_parts = [s for s in fit if s.pairs]
    by_photo = sorted(photo_mean(s, "face_iou") for s in with_parts)
    ends = [getattr(pair.overlap, f"{edge}_axis_end") for pair in matched for edge in ("outer", "inner")]
    return PartFigures(
        f1=_f1(found, missed, extra),
        found=found,
        missed=missed,
        extra=extra,
        worst_photo_f1=min((_photo_f1(s) for s in with_parts), default=math.nan),
        part_iou=over("part_iou"),
        face_iou=over("face_iou"),
        worst_photo_face_iou=min(by_photo, default=math.nan),
        worst_tenth_face_iou=figure(by_photo[: math.ceil(len(by_photo) / 10)]).mean,
        part_boundary_f=over("part_boundary_f"),
        face_boundary_f=over("face_boundary_f"),
        outer_axis_end=over("outer_axis_end", max),
        inner_axis_end=over("inner_axis_end", max),
        axis_ends_close=share(end <= CLOSE for end in ends if end is not None),
        kind_right=share(pair.seen["kind"] == pair.truth["kind"] for pair in matched if pair.seen),
        kinds=kinds,
        in_order=share(_is_in_order(s.pairs) for s in fit if len(s.pairs) > 1),
        clutter_photos=share(s.clutter > 0 for s in scored),
        clutter_parts=sum(s.clutter for s in scored),
    )


def _f1(found: int, missed: int, extra: int) -> float:
    return 2 * found / (2 * found + missed + extra) if found + missed + extra else math.nan


def _photo_f1(scored: Scored) -> float:
    found = sum(pair.seen is not None for pair in scored.pairs)
    return _f1(found, len(scored.pairs) - found, scored.clutter + scored.misfits)


def photo_mean(scored: Scored, name: str) -> float:
    """Mean of a field of `Overlap` over the parts of a photo, a missed part counting 0."""
    return float(np.mean([_of(pair.overlap, name) for pair in scored.pairs]))


def _of(overlap: Overlap | None, name: str) -> float:
    return 0.0 if overlap is None else float(getattr(overlap, name))


def _is_in_order(pairs: Sequence[Pair]) -> bool:
    places = [pair.seen["position"] for pair in sorted(pairs, key=lambda p: p.truth["position"]) if pair.seen]
    return places == sorted(places)


@dataclass(frozen=True, slots=True)
class ColourFigures:
    """Delta E and glazing of linings, tint and spots of metal: errors against the truth.

    ``delta_e_bias`` is the mean of seen minus true where a neutral is in view; ``neutral_used`` counts the
    photos with a neutral in view whose light was read from one.
    """

    delta_e: Figure
    delta_e_no_neutral: Figure
    delta_e_bias: float
    by_light: dict[str, Figure]
    neutral_used: Share
    covered_90: Share
    not_measured: Share
    glazing: Figure
    glazing_missing: Share
    crossed_60: Share
    tint_area: Figure
    tint_families: dict[str, Figure]
    spot_count: Figure
    spot_count_right: Share


def colour_figures(scored: Sequence[Scored]) -> ColourFigures:
    """Figures of what was measured on matched parts whose kind is right enough to be measured."""
    lined: list[tuple[Scored, Pair]] = []
    metal: list[tuple[Scored, Pair]] = []
    for s in scored:
        for pair in s.pairs:
            if pair.seen is None or not s.scene["gradeable"]:
                continue
            (lined if pair.truth["truth"]["delta_e00_median"] is not None else metal).append((s, pair))
    errors = [(s, _delta_e_error(pair), pair) for s, pair in lined]
    signed = [_delta_e_change(pair) for s, pair in lined if s.scene["neutral_in_view"]]
    by_light: dict[str, list[float | None]] = defaultdict(list)
    for s, error, _ in errors:
        by_light[s.photo["light"]["method"]].append(error)
    glazing = [(_glazing(pair), pair.truth["truth"]["glazing"]) for _, pair in lined]
    tints = [
        (pair.seen["heat_tint"], pair.truth["truth"]["heat_tint"])
        for _, pair in metal
        if pair.seen and pair.seen["heat_tint"]
    ]
    spots = [abs(seen["hot_spots"]["count"] - true["hot_spots"]["count"]) for seen, true in tints]
    return ColourFigures(
        delta_e=figure(error for s, error, _ in errors if s.scene["neutral_in_view"]),
        delta_e_no_neutral=figure(error for s, error, _ in errors if not s.scene["neutral_in_view"]),
        delta_e_bias=figure(signed).mean,
        by_light={method: figure(values) for method, values in sorted(by_light.items())},
        neutral_used=share(
            s.photo["light"]["method"] in NEUTRAL_METHODS
            for s in scored
            if s.scene["gradeable"] and s.scene["neutral_in_view"]
        ),
        covered_90=share(
            error <= pair.seen["discoloration"]["uncertainty"]
            for _, error, pair in errors
            if error is not None and pair.seen and pair.seen["discoloration"]["uncertainty"] is not None
        ),
        not_measured=share(error is None for _, error, _ in errors),
        glazing=figure(None if seen is None else abs(seen - true) for seen, true in glazing),
        glazing_missing=share(seen is None for seen, _ in glazing),
        crossed_60=share((seen >= GLAZED) != (true >= GLAZED) for seen, true in glazing if seen is not None),
        tint_area=figure(
            sum(abs(seen["area"][tint] - true["area"][tint]) for tint in TINTS) / 2 for seen, true in tints
        ),
        tint_families={
            tint: figure(abs(seen["area"][tint] - true["area"][tint]) for seen, true in tints)
            for tint in TINTS
        },
        spot_count=figure(spots),
        spot_count_right=share(error == 0 for error in spots),
    )


def _delta_e_error(pair: Pair) -> float | None:
    change = _delta_e_change(pair)
    return None if change is None else abs(change)


def _delta_e_change(pair: Pair) -> float | None:
    """Seen minus true; None when it was not measured."""
    seen = pair.seen["discoloration"] if pair.seen else None
    true = float(pair.truth["truth"]["delta_e00_median"])
    return None if seen is None else float(seen["delta_e00_median"]) - true


def _glazing(pair: Pair) -> float | None:
    seen = pair.seen["glazing"] if pair.seen else None
    return None if seen is None else float(seen["index"])


@dataclass(frozen=True, slots=True)
class Figures:
    """All figures of a set of scenes."""

    scenes: int
    parts: PartFigures
    colour: ColourFigures
    grades: GradeFigures
    refusals: RefusalFigures


def figures_of(scored: Sequence[Scored]) -> Figures:
    """All figures of a set of scored scenes."""
    return Figures(
        len(scored),
        part_figures(scored),
        colour_figures(scored),
        grade_figures(scored),
        refusal_figures(scored),
    )
