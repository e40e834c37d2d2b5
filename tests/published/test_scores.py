"""The scores that the accuracy table is made from, held to published definitions and worked examples."""

import math

import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score

from tests.accuracy.grades import quadratic_kappa
from tests.accuracy.overlap import axis_end_error, boundary_f, dice, iou

Y, X = np.mgrid[0:800, 0:1000]


def disc(cx: float, cy: float, radius: float) -> np.ndarray:
    return np.hypot(X - cx, Y - cy) <= radius


def ring(outer: float, inner: float) -> np.ndarray:
    return disc(400, 400, outer) & ~disc(400, 400, inner)


# P. Jaccard (1912) and L. R. Dice (1945): two 10 x 10 squares 5 apart share 50 of 150 pixels.
def test_squares_half_over_each_other_have_iou_one_third_and_dice_one_half():
    a, b = np.zeros((20, 20), bool), np.zeros((20, 20), bool)
    a[5:15, 0:10] = b[5:15, 5:15] = True
    assert iou(a, b) == pytest.approx(1 / 3, abs=1e-12)
    assert dice(a, b) == pytest.approx(1 / 2, abs=1e-12)


# The lens of two equal circles one radius apart is r^2 (2 pi / 3 - sqrt(3) / 2) (plane geometry): IoU 0.2430.
def test_circles_one_radius_apart_have_the_iou_of_their_lens():
    lens = 2 * math.pi / 3 - math.sqrt(3) / 2
    expected = lens / (2 * math.pi - lens)
    assert expected == pytest.approx(0.2430, abs=5e-5)
    # Drawn with a radius of 200 pixels: a rim of half a pixel is 0.005 of the area.
    assert iou(disc(350, 400, 200), disc(550, 400, 200)) == pytest.approx(expected, abs=0.005)


def test_dice_follows_from_iou():
    a, b = ring(100, 70), ring(110, 72)
    assert dice(a, b) == pytest.approx(2 * iou(a, b) / (1 + iou(a, b)), abs=1e-12)


# D. Martin, C. Fowlkes, J. Malik (2004), IEEE PAMI 26: against itself a boundary is all found.
def test_a_mask_against_itself_scores_one_and_against_nothing_zero():
    a, nothing = ring(100, 70), np.zeros(X.shape, bool)
    assert (iou(a, a), boundary_f(a, a, 1)) == (1.0, 1.0)
    assert (iou(a, nothing), boundary_f(a, nothing, 1)) == (0.0, 0.0)
    assert (iou(nothing, a), boundary_f(nothing, a, 1)) == (0.0, 0.0)


# Areas of two rings with one inner rim (plane geometry): 5100 pi of 5504 pi.
def test_a_ring_two_pixels_wider_has_the_iou_of_the_areas():
    assert iou(ring(100, 70), ring(102, 70)) == pytest.approx(5100 / 5504, abs=0.005)


def test_an_edge_off_by_more_than_the_tolerance_takes_its_length_from_the_boundary_score():
    """Ring 100/70 against 106/70: the outer rims miss each other, the inner ones agree."""
    right = [70 / (100 + 70), 70 / (106 + 70)]  # shares of the two boundaries' lengths
    expected = 2 * right[0] * right[1] / sum(right)
    assert boundary_f(ring(106, 70), ring(100, 70), 3) == pytest.approx(expected, abs=0.01)
    assert boundary_f(ring(106, 70), ring(100, 70), 7) == 1.0


def test_axis_ends_are_off_by_what_the_ellipse_was_moved_or_grown():
    truth = {"cx": 300.0, "cy": 200.0, "major": 320.0, "minor": 180.0, "angle_deg": 30.0}
    moved = truth | {"cx": 300 + 8 * math.cos(math.radians(30)), "cy": 200 + 8 * math.sin(math.radians(30))}
    grown = truth | {"major": 336.0, "minor": 196.0}
    assert axis_end_error(truth, truth) == pytest.approx(0, abs=1e-6)
    # Along the major axis by 8, and 8 longer at each end; the curve is sampled every quarter of a degree.
    assert axis_end_error(moved, truth) == pytest.approx(8 / 320, abs=5e-4)
    assert axis_end_error(grown, truth) == pytest.approx(8 / 320, abs=5e-4)


def test_axis_ends_of_a_circle_do_not_depend_on_where_its_axes_point():
    circle = {"cx": 300.0, "cy": 200.0, "major": 320.0, "minor": 320.0, "angle_deg": 0.0}
    assert axis_end_error(circle | {"angle_deg": 77.0}, circle) < 5e-4


# Counts of J. L. Fleiss, J. Cohen, B. S. Everitt (1969), Psychological Bulletin 72, 323-327, as in the R
# packages psych and DescTools. Quadratic kappa of them is 17/30, linear 32/65.
FLEISS = ((106, 10, 4), (22, 28, 10), (2, 12, 6))


def fleiss_ratings() -> tuple[list[int], list[int]]:
    rows = [(i, j) for i in range(3) for j in range(3) for _ in range(FLEISS[i][j])]
    return [i for i, _ in rows], [j for _, j in rows]


def test_quadratic_kappa_of_the_published_counts():
    true, seen = fleiss_ratings()
    assert quadratic_kappa(true, seen) == pytest.approx(17 / 30, abs=1e-6)
    assert cohen_kappa_score(true, seen, weights="linear") == pytest.approx(32 / 65, abs=1e-6)


# J. Cohen (1968), Psychological Bulletin 70, 213-220: 1 - sum(w observed) / sum(w expected), w = (i - j)^2.
# With a and b below the sums are 2/6 and 210/36, hence 1 - 12/210 = 0.9429; numbering only the levels that
# occur gives 0.7600.
def test_levels_that_do_not_occur_keep_their_place_in_kappa():
    a, b = [0, 0, 4, 4, 1, 0], [0, 1, 4, 4, 1, 1]
    assert quadratic_kappa(a, b) == pytest.approx(0.9429, abs=1e-4)
    assert cohen_kappa_score(a, b, weights="quadratic") == pytest.approx(0.7600, abs=1e-4)


def test_kappa_of_one_level_throughout_is_unknown():
    assert math.isnan(quadratic_kappa([2, 2, 2], [2, 2, 2]))
