"""Medians and quantiles, against NumPy's own."""

import numpy as np
import pytest

from wearview.ranks import median, middle, quantile


@pytest.mark.parametrize("count", [1, 2, 7, 8, 1001, 1002, 9001, 9002])
def test_medians_are_those_of_numpy(count):
    values = np.random.default_rng(count).normal(size=(count, 5, 3)).astype(np.float32)
    before = values.copy()
    for axis in (0, 1, 2):
        assert np.array_equal(median(values, axis), np.median(values, axis=axis))
    assert middle(values) == np.median(values)
    assert np.array_equal(values, before)


@pytest.mark.parametrize("share", [0.0, 0.05, 0.5, 0.9, 0.995, 1.0])
@pytest.mark.parametrize("count", [1, 2, 50, 1001, 40_001])
def test_quantiles_are_those_of_numpy(count, share):
    values = np.random.default_rng(count).normal(size=count)
    before = values.copy()
    assert quantile(values, share) == pytest.approx(np.quantile(values, share), abs=1e-12)
    assert np.array_equal(values, before)


def test_the_first_value_of_which_there_are_many_is_met():
    assert quantile(np.array([[1.0, 1.0], [1.0, 5.0]], np.float32), 0.5) == 1.0


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_of_many_values_the_few_that_are_sampled_may_be_any(share):
    values = np.random.default_rng(1).normal(size=4096)
    values[::8] = np.sort(values)[:512]  # every eighth, and of all the least
    assert quantile(values, share) == pytest.approx(np.quantile(values, share), abs=1e-12)
    assert quantile(np.round(values), share) == np.quantile(np.round(values), share)


def test_whole_numbers_are_met_among_many():
    codes = np.random.default_rng(2).integers(0, 256, (90, 100)).astype(np.uint8)
    assert quantile(codes, 0.995) == pytest.approx(np.quantile(codes, 0.995), abs=1e-12)
