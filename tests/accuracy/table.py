"""The accuracy table as text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from tests.accuracy.counts import Figure, Share
from tests.accuracy.figures import CLOSE, KINDS, ColourFigures, Figures, PartFigures, photo_mean
from tests.accuracy.grades import LEVELS, GradeFigures, RefusalFigures, is_refused
from tests.accuracy.overlap import BOUNDARY_TOLERANCE
from tests.accuracy.scoring import Pair, Scored


def table(name: str, figures: Figures) -> str:
    """The table of one set of scenes, one figure a line: mean or share, worst, N."""
    lines = [f"{name}: {figures.scenes} scenes", f"{'':44}{'mean':>9}{'worst':>9}{'N':>6}   asked for"]
    lines += _part_lines(figures.parts)
    lines += _colour_lines(figures.colour)
    lines += _grade_lines(figures.grades)
    lines += _refusal_lines(figures.refusals)
    return "\n".join(lines) + "\n"


def _line(label: str, mean: float, worst: float | None, n: int, target: str = "") -> str:
    return f"{label:44}{_number(mean):>9}{_number(worst):>9}{n:>6}   {target}".rstrip()


def _number(value: float | None) -> str:
    if value is None:
        return ""
    return "-" if math.isnan(value) else f"{value:.3f}"


def _figure(label: str, value: Figure, target: str = "") -> str:
    return _line(label, value.mean, value.worst, value.n, target)


def _share(label: str, value: Share, target: str = "") -> str:
    return _line(label, value.value, None, value.n, target)


def _part_lines(parts: PartFigures) -> Iterator[str]:
    yield _line(
        f"parts, F1 at IoU 0.5 ({parts.missed} missed, {parts.extra} extra)",
        parts.f1,
        parts.worst_photo_f1,
        parts.found + parts.missed,
        ">= 0.98; worst: of a photo",
    )
    yield _figure("part IoU, of matched parts", parts.part_iou, ">= 0.95")
    yield _figure("face IoU, of matched parts", parts.face_iou, ">= 0.93")
    yield _line("face IoU, worst photo, missed parts as 0", math.nan, parts.worst_photo_face_iou, 1)
    yield _line("face IoU, mean of the worst tenth of photos", parts.worst_tenth_face_iou, None, 1, ">= 0.85")
    within = f"boundary F within {BOUNDARY_TOLERANCE:.1%} of diagonal"
    yield _figure(f"part {within}", parts.part_boundary_f)
    yield _figure(f"face {within}", parts.face_boundary_f)
    yield _figure("outer axis ends off, share of major axis", parts.outer_axis_end)
    yield _figure("inner axis ends off, share of major axis", parts.inner_axis_end)
    yield _share(f"axis ends within {CLOSE:.1%} of the diameter", parts.axis_ends_close, "1")
    yield _share("kind right, of matched parts", parts.kind_right, ">= 0.98")
    yield _share("photos of several parts in right order", parts.in_order)
    yield _share(
        f"photos with clutter called a part ({parts.clutter_parts} parts)", parts.clutter_photos, "<= 0.02"
    )
    yield "  kind, true by seen:  " + "".join(
        f"{kind.removesuffix(' plate'):>10}" for kind in (*KINDS, "missed")
    )
    for true, row in parts.kinds.items():
        yield f"    {true:19}" + "".join(f"{count:>10}" for count in row.values())


def _colour_lines(colour: ColourFigures) -> Iterator[str]:
    yield _figure("Delta E median off, neutral in view", colour.delta_e, "<= 2.5")
    yield _line("  seen minus true", colour.delta_e_bias, None, colour.delta_e.n)
    yield _figure("Delta E median off, no neutral in view", colour.delta_e_no_neutral)
    for method, error in colour.by_light.items():
        yield _figure(f"  light by {method}", error)
    yield _share("photos with a neutral whose light is from it", colour.neutral_used)
    yield _share("true Delta E inside the stated 90 % interval", colour.covered_90, "0.90")
    yield _share("linings found but not measured", colour.not_measured)
    yield _figure("glazing index off", colour.glazing)
    yield _share("linings without a glazing index", colour.glazing_missing)
    yield _share("glazing on the wrong side of 60", colour.crossed_60)
    yield _figure("heat tint, share of face in a wrong family", colour.tint_area)
    for tint, error in colour.tint_families.items():
        yield _figure(f"  {tint} area off", error)
    yield _figure("hot spots, count off", colour.spot_count)
    yield _share("hot spots, count right", colour.spot_count_right)


def _grade_lines(grades: GradeFigures) -> Iterator[str]:
    yield _line("grade exact, clear of thresholds", grades.exact.value, None, grades.exact.n, ">= 0.85")
    yield _line(
        "grade within one level (worst: levels off)",
        grades.within_one.value,
        float(grades.worst),
        grades.within_one.n,
        ">= 0.98",
    )
    yield _share("grade exact, ungraded counted as wrong", grades.exact_of_all)
    yield _line("kappa, quadratic weights, labels 0..4", grades.kappa, None, grades.exact.n, ">= 0.88")
    for name, value in (*grades.by_kind.items(), *((f"light by {m}", s) for m, s in grades.by_light.items())):
        yield _share(f"  exact, {name}", value)
    yield _share("grade exact, near a threshold", grades.near_threshold)
    yield _share("parts graded, neutral in view", grades.graded, ">= 0.90")
    yield _share("parts graded, lining too dark to tell", grades.dark_graded, "0")
    total = sum(grades.truth_levels.values())
    yield "  true levels: " + ", ".join(
        f"{'dark' if level is None else level}: {count} ({count / total:.0%})"
        for level, count in grades.truth_levels.items()
    )
    yield "  grade, true by seen: " + "".join(f"{level:>6}" for level in LEVELS)
    for level, row in zip(LEVELS, grades.confusion, strict=False):
        yield f"    {level:<19}" + "".join(f"{count:>6}" for count in row)


def _refusal_lines(refusals: RefusalFigures) -> Iterator[str]:
    yield _share("unfit photos refused", refusals.all_refused, "1")
    named: Mapping[str, Share] = refusals.reason_named
    for reason, value in refusals.refused.items():
        yield _share(f"  {reason} (named {named[reason].k} of {named[reason].n})", value)
    yield _share("fit photos refused", refusals.fit_refused, "<= 0.03")
    yield _share("clean photos refused", refusals.references_refused)


def scene_lines(scored: Sequence[Scored]) -> Iterator[str]:
    """One line for each tuned scene. Untouched ones are never shown singly."""
    for s in scored:
        if s.scene["tuned"]:
            yield _scene_line(s)


def _scene_line(s: Scored) -> str:
    scene, photo = s.scene, s.photo
    words = [scene["id"], photo["light"]["method"]]
    if scene["reason"]:
        words.append(f"[{scene['reason']}{'' if is_refused(photo) else ': NOT REFUSED'}]")
    elif is_refused(photo):
        words.append(f"REFUSED {photo['quality']['problems']}")
    if s.reference_refused:
        words.append("REFERENCE REFUSED")
    if s.clutter or s.misfits:
        words.append(f"clutter {s.clutter} misfits {s.misfits}")
    if s.pairs:
        words.append(f"face {photo_mean(s, 'face_iou'):.3f}")
    ordered = sorted(s.pairs, key=lambda pair: pair.truth["position"])
    return "  ".join([*words, *(_part_words(pair) for pair in ordered)])


def _part_words(pair: Pair) -> str:
    part, true = pair.truth, pair.truth["truth"]
    kind = part["kind"].split()[0]
    if pair.seen is None or pair.overlap is None:
        return f"| {kind} MISSED"
    words = [f"| {kind} {pair.overlap.part_iou:.2f}/{pair.overlap.face_iou:.2f}"]
    if pair.seen["kind"] != part["kind"]:
        words.append(f"called {pair.seen['kind'].split()[0]}")
    seen = pair.seen["grade"]
    level = "-" if seen is None else seen["level"]
    if level != true["level"] and not (seen is None and true["level"] is None):
        words.append(f"level {true['level']}->{level}{'' if true['margin_ok'] else ' near'}")
        if seen is None:
            words.append(str(pair.seen["problems"]))
    if pair.seen["discoloration"] and true["delta_e00_median"] is not None:
        words.append(
            f"dE {true['delta_e00_median']:.1f}->{pair.seen['discoloration']['delta_e00_median']:.1f}"
        )
    if pair.seen["glazing"] and true["glazing"] is not None:
        words.append(f"glz {true['glazing']:.0f}->{pair.seen['glazing']['index']:.0f}")
    if pair.seen["heat_tint"] and true["heat_tint"]:
        words.append(
            f"spots {true['heat_tint']['hot_spots']['count']}->{pair.seen['heat_tint']['hot_spots']['count']}"
        )
    return " ".join(words)
