"""The tables of false parts and of the three ways to find parts count what they say they count."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.accuracy.part_free import Bench, part_free_table
from tests.accuracy.proposals import Tally, region_masks, row
from wearview.parts.learned import HOLE, LABELS, LINING, Sight


def bench(tuned: bool, *taken_for: tuple[str, str], graded: int = 0) -> Bench:
    return Bench({"tuned": tuned}, taken_for, graded)


def test_false_parts_are_counted_by_photo_and_in_all():
    cage = ("steel plate", "needle ring")
    lines = part_free_table("tuned", [bench(True), bench(True, cage, cage, graded=1), bench(True, cage)])
    assert "photos with a false part                        0.667  (2 of 3)" in lines
    assert "(3 of 3)" in lines
    assert "(1 of 3)" in lines
    assert "steel plate: needle ring  3" in lines


def test_what_was_mistaken_is_not_named_on_untouched_photos():
    assert "needle ring" not in part_free_table("untouched", [bench(False, ("steel plate", "needle ring"))])


def test_a_way_is_scored_over_parts_and_over_its_worst_photos():
    good, half = (
        Tally(2, 2, 0, (0.9, 0.9), (0.9, 0.9), (0.01,), 0.1),
        Tally(2, 1, 1, (0.8,), (0.6,), (0.03,), 0.1),
    )
    false = Tally(0, 0, 3, (), (), (), 0.1)
    figures = row("both", [good, half], [false]).split()
    f1, part, face, tenth, ends, missed, extra, on_free = (float(v) for v in figures[1:9])
    assert f1 == pytest.approx(2 * 3 / (2 * 3 + 1 + 1), abs=1e-4)
    assert (part, face) == (pytest.approx(2.6 / 3, abs=1e-4), pytest.approx(0.8, abs=1e-4))
    assert tenth == pytest.approx(0.3), "the missed part of the worst photo counts 0"
    assert ends == pytest.approx(0.02)
    assert (missed, extra, on_free) == (1, 1, 3)


def test_no_parts_at_all_leave_no_figure():
    figures = row("both", [Tally(1, 0, 0, (), (), (), 0.1)], []).split()
    assert math.isnan(float(figures[2]))


def test_two_rings_that_touch_are_two_regions():
    chance = np.zeros((len(LABELS), 96, 128), np.float32)
    offset = np.zeros((2, 96, 128), np.float32)
    y, x = np.mgrid[:96, :128]
    for cx in (40, 80):
        far = np.hypot(x - cx, y - 48)
        chance[LINING][(far <= 20) & (far > 12)] = 1
        chance[HOLE][far <= 12] = 1
        offset[:, far <= 20] = np.stack([cx - x, 48 - y])[:, far <= 20]
    chance[0] = 1 - chance[1:].sum(axis=0)
    masks = region_masks(Sight(chance, offset, 1.0), (128, 96))
    assert len(masks) == 2
    for part, face in masks:
        assert part.sum() == pytest.approx(np.pi * (20**2 - 12**2), rel=0.05)
        assert face.sum() == part.sum()
    assert not (masks[0][0] & masks[1][0]).any()
