"""The table's own arithmetic, on made-up findings: what counts as found, refused, graded and the same."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.accuracy.counts import Figure, Share, figure
from tests.accuracy.figures import colour_figures, part_figures
from tests.accuracy.grades import grade_figures, is_refused, refusal_figures
from tests.accuracy.lights import CANNOT_TELL, NOT_FOUND, Answer, Plate, lights_table
from tests.accuracy.overlap import match
from tests.accuracy.scoring import Overlap, Pair, Scored
from tests.accuracy.table import scene_lines


def box(x: int, width: int) -> np.ndarray:
    mask = np.zeros((20, 100), bool)
    mask[5:15, x : x + width] = True
    return mask


def test_a_part_is_found_at_half_overlap_and_not_below():
    truth = box(0, 30)
    assert match([box(0, 15)], [1.0], [truth], [True]).pairs == ((0, 0),)
    below = match([box(0, 14)], [1.0], [truth], [True])
    assert (below.pairs, below.extra, below.missed) == ((), (0,), (0,))


def test_the_more_confident_finding_takes_the_part_and_the_other_is_extra():
    found = match([box(0, 30), box(0, 28)], [0.4, 0.9], [box(0, 30)], [True])
    assert (found.pairs, found.extra) == (((1, 0),), (0,))


def test_a_finding_takes_its_best_part_that_is_free():
    found = match([box(10, 30), box(0, 30)], [0.9, 0.8], [box(0, 30), box(12, 30)], [True, True])
    assert set(found.pairs) == {(0, 1), (1, 0)}


def test_a_part_that_nobody_must_find_counts_neither_way():
    found = match([box(40, 10)], [0.9], [box(0, 20), box(40, 30)], [True, False])
    assert (found.pairs, found.ignored, found.extra, found.missed) == ((), (0,), (), (0,))


def test_an_empty_figure_is_unknown_not_zero():
    assert math.isnan(figure([None]).mean)
    assert math.isnan(Share(0, 0).value)
    assert figure([1.0, 3.0, None]) == Figure(2.0, 3.0, 2)
    assert figure([1.0, 3.0], min).worst == 1.0


def truth_of(level: int | None, **more: Any) -> dict[str, Any]:
    return {
        "kind": "friction plate",
        "position": 1,
        "truth": {
            "level": level,
            "margin_ok": True,
            "clean_lab": [61, 8, 24],
            "delta_e00_median": 4.0,
            "glazing": 50.0,
            "heat_tint": None,
        }
        | more,
    }


def seen_of(level: int | None, **more: Any) -> dict[str, Any]:
    return {
        "kind": "friction plate",
        "position": 1,
        "gradeable": True,
        "problems": [],
        "grade": None if level is None else {"level": level},
        "discoloration": {"delta_e00_median": 5.0, "uncertainty": 2.0},
        "glazing": {"index": 40.0},
        "heat_tint": None,
    } | more


def pair_of(true: int | None, level: int | None, **truth: Any) -> Pair:
    return Pair(truth_of(true, **truth), seen_of(level), Overlap(0.9, 0.8, 1.0, 1.0, 0.01, 0.02))


def scored_of(
    *pairs: Pair, clutter: int = 0, misfits: int = 0, problems: tuple[str, ...] = (), **scene: Any
) -> Scored:
    known = {
        "id": "s1",
        "tuned": True,
        "gradeable": True,
        "reason": None,
        "reference": "r.jpg",
        "neutral_in_view": True,
    }
    photo = {
        "quality": {"gradeable": not problems, "problems": list(problems)},
        "light": {"method": "paper"},
        "parts": [pair.seen for pair in pairs if pair.seen],
    }
    return Scored(known | scene, photo, pairs, clutter, misfits, False)


MISSED = Pair(truth_of(2), None, None)


def test_missed_and_extra_parts_lower_f1_alike():
    # 2 found, 1 missed, 1 extra: F1 = 4 / (4 + 1 + 1).
    figures = part_figures([scored_of(pair_of(1, 1), pair_of(2, 2), MISSED, clutter=1)])
    assert figures.f1 == pytest.approx(4 / 6)
    assert (figures.clutter_photos, figures.part_iou.n) == (Share(1, 1), 2)


def test_a_missed_part_pulls_its_photo_down():
    assert part_figures([scored_of(pair_of(1, 1), MISSED)]).worst_photo_face_iou == pytest.approx(0.4)


def test_the_worst_tenth_is_the_mean_of_the_worst_photos_rounded_up():
    photos = [scored_of(pair_of(1, 1), MISSED)] + [scored_of(pair_of(1, 1))] * 10
    figures = part_figures(photos)
    assert figures.worst_tenth_face_iou == pytest.approx((0.4 + 0.8) / 2)
    assert figures.worst_photo_face_iou == pytest.approx(0.4)


def test_axis_ends_count_as_close_up_to_half_a_percent_of_the_diameter():
    def pair(outer: float | None, inner: float | None) -> Pair:
        made = pair_of(1, 1)
        assert made.overlap is not None
        return replace(made, overlap=replace(made.overlap, outer_axis_end=outer, inner_axis_end=inner))

    figures = part_figures([scored_of(pair(0.004, 0.006), pair(0.005, None), MISSED)])
    assert figures.axis_ends_close == Share(2, 3)


def test_a_part_near_a_threshold_is_kept_out_of_the_grades():
    figures = grade_figures([scored_of(pair_of(1, 1), pair_of(0, 2, margin_ok=False))])
    assert (figures.exact, figures.near_threshold) == (Share(1, 1), Share(0, 1))


def test_no_grade_is_neither_exact_nor_forgotten():
    figures = grade_figures([scored_of(pair_of(1, 1), pair_of(3, None), pair_of(4, 2), MISSED)])
    assert (figures.exact, figures.exact_of_all, figures.within_one) == (
        Share(1, 2),
        Share(1, 3),
        Share(1, 2),
    )
    assert figures.graded == Share(2, 4)
    assert figures.confusion[4][2] == 1


def test_a_lining_too_dark_to_tell_need_not_be_graded():
    dark = pair_of(None, None, clean_lab=[22, 1, 2])
    figures = grade_figures([scored_of(dark, pair_of(1, 1))])
    assert (figures.graded, figures.dark_graded) == (Share(1, 1), Share(0, 1))


def test_no_neutral_in_view_is_no_fault_of_the_grades():
    assert grade_figures([scored_of(pair_of(1, None), neutral_in_view=False)]).graded == Share(0, 0)


def test_colour_errors_are_set_beside_their_stated_interval():
    figures = colour_figures([scored_of(pair_of(1, 1)), scored_of(pair_of(1, 1, delta_e00_median=9.0))])
    assert figures.delta_e == Figure(2.5, 4.0, 2)
    assert figures.delta_e_bias == pytest.approx((1.0 - 4.0) / 2)
    assert figures.covered_90 == Share(1, 2)
    assert (figures.glazing, figures.crossed_60) == (Figure(10.0, 10.0, 2), Share(0, 2))


def test_an_unfit_photo_counts_as_refused_only_when_the_document_says_so():
    spoiled = {"gradeable": False, "reason": "blurred"}
    figures = refusal_figures(
        [scored_of(problems=("too dark",), **spoiled), scored_of(pair_of(1, 1), **spoiled)]
    )
    assert figures.refused == {"blurred": Share(1, 2)}
    assert figures.reason_named == {"blurred": Share(0, 2)}
    assert figures.all_refused == Share(1, 2)


def test_doubt_about_the_colour_is_no_refusal_but_a_covered_part_is():
    def photo(problem: str) -> dict[str, Any]:
        part = {"gradeable": False, "problems": [problem]}
        return {"quality": {"gradeable": True, "problems": []}, "parts": [part]}

    assert is_refused(photo("covered"))
    assert not is_refused(photo("uncertainty spans grades"))


def test_untouched_scenes_are_never_shown_singly():
    assert len(list(scene_lines([scored_of(tuned=False)]))) == 0
    assert len(list(scene_lines([scored_of(tuned=True)]))) == 1


def plate_of(*said: int | str, error: float = 1.0, stated: float = 2.0) -> Plate:
    return Plate("a", True, True, 2, tuple(Answer(one, "mat", error, stated) for one in said))


def test_lights_agree_only_when_a_plate_has_one_answer_in_all():
    assert plate_of(2, 2, 2, 2).same
    assert plate_of(*(CANNOT_TELL,) * 4).same
    assert not plate_of(2, 2, CANNOT_TELL, 2).same
    assert not plate_of(*(NOT_FOUND,) * 4).same


def test_the_table_of_lights_counts_plates_photos_and_held_intervals():
    plates = [plate_of(2, 2, 2, 2), plate_of(2, CANNOT_TELL, 2, 2), plate_of(2, 0, 2, 2, error=3.0)]
    rows = {
        line[:56].strip(): line[56:].split()[0] for line in lights_table("these", plates).splitlines()[1:-1]
    }
    assert rows["plates with one answer in every photo"] == "0.333"
    assert rows["plates never given two grades"] == "0.667"
    assert rows["plates two levels apart or more"] == "0.333"
    assert rows["answers that are the plate's usual one"] == "0.833"
    assert "holds 0.67" in lights_table("these", plates)
