"""Medians and quantiles, against NumPy's own."""

import numpy as np
import pytest

from wearview.ranks import median, middle, quantile


@pytest.mark.parametrize("count", [1, 2, 7, 8, 1001, 1002])
def test_medians_are_those_of_numpy(count):
    values = np.random.default_rng(count).normal(size=(count, 5, 3)).astype(np.float32)
    before = values.copy()
    for axis in (0, 1, 2):
        assert np.array_equal(median(values, axis), np.median(values, axis=axis))
    assert middle(values) == np.median(values)
    assert np.array_equal(values, before)


@pytest.mark.parametrize("share", [0.0, 0.05, 0.5, 0.9, 0.995, 1.0])
@pytest.mark.parametrize("count", [1, 2, 50, 1001])
def test_quantiles_are_those_of_numpy(count, share):
    values = np.random.default_rng(count).normal(size=count)
    before = values.copy()
    assert quantile(values, share) == pytest.approx(np.quantile(values, share), abs=1e-12)
    assert np.array_equal(values, before)


def test_the_first_value_of_which_there_are_many_is_met():
    assert quantile(np.array([[1.0, 1.0], [1.0, 5.0]], np.float32), 0.5) == 1.0
