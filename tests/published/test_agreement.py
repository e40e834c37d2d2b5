"""Weighted kappa and its errors against published worked examples and another library."""

import math

import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score

from wearview.agreement import kappa, kappa_values, quadratic_weights

# J. Cohen (1968), Weighted kappa, Psychological Bulletin 70, 213-220, Table 1, as reworked in the R packages
# DMAR and psych: shares of 200 pairs, and weights of disagreement.
COHEN = np.array([[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]])
COHEN_DISAGREEMENT = np.array([[0, 1, 3], [1, 0, 6], [3, 6, 0]])
# J. L. Fleiss, J. Cohen, B. S. Everitt (1969), Psychological Bulletin 72, 323-327; the table as in the R
# packages psych and DescTools.
FLEISS = np.array([[106, 10, 4], [22, 28, 10], [2, 12, 6]])
FLEISS_WEIGHTS = np.array([[1, 0, 0.4444], [0, 1, 0.6667], [0.4444, 0.6667, 1]])
# The example of CohenKappa in the R package DescTools.
SIX = np.array(
    [
        [5, 8, 1, 2, 4, 2],
        [3, 5, 3, 5, 5, 0],
        [1, 2, 6, 11, 2, 1],
        [0, 1, 5, 4, 3, 3],
        [0, 0, 1, 2, 5, 2],
        [0, 0, 1, 2, 1, 4],
    ]
)


def linear_weights(levels):
    return 1 - np.abs(np.subtract.outer(np.arange(levels), np.arange(levels))) / (levels - 1)


def ratings(counts):
    i, j = np.indices(counts.shape)
    return np.repeat(i.ravel(), counts.ravel()), np.repeat(j.ravel(), counts.ravel())


def test_cohens_example_with_and_without_weights():
    weights = 1 - COHEN_DISAGREEMENT / COHEN_DISAGREEMENT.max()
    exchanged = 1 - np.array([[0, 6, 3], [6, 0, 1], [3, 1, 0]]) / 6
    assert kappa(COHEN * 200, np.eye(3)).value == pytest.approx(0.492, abs=5e-4)
    assert kappa(COHEN * 200, weights).value == pytest.approx(0.348, abs=5e-4)
    assert kappa(COHEN * 200, exchanged).value == pytest.approx(0.574, abs=5e-4)


@pytest.mark.parametrize(
    ("weights", "value", "error", "by_chance"),
    [
        (np.eye(3), 0.4286, 0.0537, 0.0555),
        (FLEISS_WEIGHTS, 0.5071, 0.0570, 0.0653),
        # Quadratic: value 17/30; the errors computed from the paper's formulas.
        (quadratic_weights(3), 17 / 30, 0.0557, 0.0705),
    ],
)
def test_the_standard_errors_of_fleiss_cohen_and_everitt(weights, value, error, by_chance):
    found = kappa(FLEISS, weights)
    assert found.value == pytest.approx(value, abs=5e-4)
    assert found.error == pytest.approx(error, abs=5e-4)
    assert found.error_by_chance == pytest.approx(by_chance, abs=5e-4)


def test_six_levels_of_desctools():
    assert kappa(SIX, np.eye(6)).value == pytest.approx(0.15102, abs=1e-4)
    assert kappa(SIX, linear_weights(6)).value == pytest.approx(0.31567, abs=1e-4)
    assert kappa(SIX, quadratic_weights(6)).value == pytest.approx(0.41350, abs=1e-4)


@pytest.mark.parametrize("counts", [FLEISS, SIX])
def test_scikit_learn_gives_the_same(counts):
    a, b = ratings(counts)
    ours = kappa_values(counts, quadratic_weights(len(counts)))
    assert ours == pytest.approx(cohen_kappa_score(a, b, weights="quadratic"), abs=1e-12)


def test_levels_that_nobody_used_keep_their_place():
    # scikit-learn numbers only the labels it sees, and gives 0.7600 for these when not told the labels.
    counts = np.zeros((5, 5), int)
    np.add.at(counts, ([0, 0, 4, 4, 1, 0], [0, 1, 4, 4, 1, 1]), 1)
    assert kappa(counts, quadratic_weights(5)).value == pytest.approx(0.9429, abs=1e-4)


def test_one_level_throughout_leaves_kappa_undefined():
    assert math.isnan(kappa(np.diag([0, 40, 0]), quadratic_weights(3)).value)
