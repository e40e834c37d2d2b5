"""Trend by position, against the exact distribution of Kendall's S and worked examples."""

import itertools
import math

import numpy as np
import pytest
from scipy.stats import kendalltau, theilslopes

from wearview.pack import find_trend
from wearview.pack.trend import exact_p

# M. G. Kendall 1938: 1 of n! orders is perfect, so the two-sided p is 2 / n!.
PERFECT = {3: 0.3333333, 4: 0.0833333, 5: 0.0166667, 6: 0.0027778}
# Computed with scipy 1.17: one neighbouring pair swapped; tau-b, two-sided exact p.
ONE_SWAP = {4: (0.6667, 0.3333), 5: (0.8, 0.08333), 6: (0.8667, 0.01667)}
TIED = [0, 1, 1, 2, 4]


@pytest.mark.parametrize(("n", "p"), PERFECT.items())
def test_perfect_order_has_the_exact_two_sided_p(n, p):
    assert exact_p(range(n), range(n)) == pytest.approx(p, abs=1e-6)
    assert exact_p(range(n), range(n)) == pytest.approx(2 / math.factorial(n), rel=1e-12)


@pytest.mark.parametrize(("n", "tau", "p"), [(n, *values) for n, values in ONE_SWAP.items()])
def test_one_neighbouring_swap_has_the_exact_tau_and_p(n, tau, p):
    scores = [1, 0, *range(2, n)]
    assert find_trend(range(n), scores).kendall_tau == pytest.approx(tau, abs=1e-4)
    assert exact_p(range(n), scores) == pytest.approx(p, abs=1e-4)


def test_ties_keep_the_permutation_p_where_the_approximation_is_too_small():
    # Computed by listing all 120 orders; the normal approximation gives 0.0230.
    trend = find_trend([1, 2, 3, 4, 5], TIED)
    assert trend.kendall_tau == pytest.approx(0.94868, abs=1e-4)
    assert trend.p_value == pytest.approx(0.0333, abs=1e-3)
    approximate = kendalltau([1, 2, 3, 4, 5], TIED, method="asymptotic").pvalue
    assert approximate == pytest.approx(0.0230, abs=1e-3)


def test_equal_plates_have_slope_0_and_neither_tau_nor_p():
    trend = find_trend([1, 2, 3, 4], [2, 2, 2, 2])
    assert (trend.slope_per_position, trend.kendall_tau, trend.p_value) == (0, None, None)


def test_the_slope_is_theil_sens_and_not_least_squares():
    # H. Theil 1950, P. K. Sen 1968: median of the pair slopes, here 1.0 where least squares gives 0.9.
    assert find_trend([1, 2, 3, 4, 5], TIED).slope_per_position == 1.0
    assert np.polyfit([1, 2, 3, 4, 5], TIED, 1)[0] == pytest.approx(0.9)


def test_under_five_plates_no_p_is_given_whatever_the_order():
    for n in (2, 3, 4):
        assert find_trend(range(n), range(n)).p_value is None
    assert find_trend(range(5), range(5)).p_value == pytest.approx(0.01667, abs=1e-5)


def test_without_ties_the_p_is_scipys_exact_one():
    rng = np.random.default_rng(11)
    for n in range(5, 13):
        scores = rng.permutation(n)
        assert exact_p(range(n), scores) == pytest.approx(
            kendalltau(range(n), scores, method="exact").pvalue, rel=1e-9
        )


def test_with_ties_the_p_is_the_share_of_all_orders():
    rng = np.random.default_rng(12)
    for n in (5, 6, 7):
        scores = [0, *rng.integers(0, 3, n - 1).tolist(), 3]
        sums = [abs(_sum(order)) for order in itertools.permutations(scores[:n])]
        expected = np.mean(np.array(sums) >= abs(_sum(scores[:n])))
        assert exact_p(range(n), scores[:n]) == pytest.approx(expected, rel=1e-12)


def _sum(order):
    return sum((b > a) - (b < a) for a, b in itertools.combinations(order, 2))


def test_the_slope_is_scipys_over_uneven_positions():
    positions, scores = [1, 3, 4, 8, 9], [0.1, 1.2, 0.9, 3.0, 2.2]
    assert find_trend(positions, scores).slope_per_position == theilslopes(scores, positions).slope


def test_tau_is_scipys_tau_b_ties_and_all():
    rng = np.random.default_rng(13)
    for n in range(2, 12):
        scores = [0, *rng.integers(0, 4, n - 2).tolist(), 5]
        positions = rng.permutation(n).tolist()
        expected = kendalltau(positions, scores).statistic
        assert find_trend(positions, scores).kendall_tau == pytest.approx(expected, abs=1e-12)
