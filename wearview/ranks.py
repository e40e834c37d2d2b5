"""Medians and quantiles of many pixels.

Those of NumPy look for NaN and for two neighbours at once, which takes ten times as long as one partition.
And of many values only a stretch is partitioned (R. W. Floyd and R. L. Rivest, Communications of the ACM 18,
165-172, 1975; from memory): a sorted sample says between which two values the one sought lies.
"""

import math

import numpy as np
from numpy.typing import NDArray

_MANY = 2048  # values from which on a sample pays; of 3000 it takes 0.65 of the time, of 60,000 a quarter
# Of how many values one is in the sample, at least and at most, and between them what gives so many.
_LEAST_EVERY, _MOST_EVERY, _SAMPLE = 8, 32, 1024
# Places of the sample to both sides of where the value should lie, over the root of how many it has: three
# standard deviations of a random sample's median. What lies outside all the same is sought among all values.
_SLACK = 1.5


def median(values: NDArray[np.floating], axis: int) -> NDArray[np.floating]:
    """Median along one axis of floats, `values` left as they are; the mean of the two middle ones of an even
    number.

    Values must not be NaN, and there must be one at least.
    """
    rows = np.moveaxis(values, axis, -1)
    if rows.shape[-1] >= _MANY:
        return np.array([_middle(row) for row in rows.reshape(-1, rows.shape[-1])]).reshape(rows.shape[:-1])
    ordered = np.array(rows, order="C")
    half = ordered.shape[-1] // 2
    ordered.partition(half, axis=-1)
    upper = ordered[..., half]
    if ordered.shape[-1] % 2:
        return np.asarray(upper)
    return np.asarray((ordered[..., :half].max(axis=-1) + upper) / 2)


def middle(values: NDArray[np.floating]) -> float:
    """Median of floats of any shape, as `median`."""
    return float(_middle(values))


def _middle(values: NDArray[np.floating]) -> np.floating:
    flat = values.ravel()
    ordered, half = _put(flat, flat.size // 2)
    upper = ordered[half]
    return upper if flat.size % 2 else (ordered[:half].max() + upper) / 2


def quantile(values: NDArray[np.floating | np.integer], share: float) -> float:
    """The value under which a share (0..1) of numbers of any shape lies, between two neighbours in proportion
    (method 7 of R. J. Hyndman and Y. Fan, The American Statistician 50, 361-365, 1996; from memory).

    Values must not be NaN, and there must be one at least.
    """
    flat = values.ravel()
    place = share * (flat.size - 1)
    ordered, low = _put(flat, int(place))
    below = float(ordered[low])
    if int(place) + 1 == flat.size:
        return below
    return below + (float(ordered[low + 1 :].min()) - below) * (place - int(place))


def _put(flat: NDArray[np.generic], place: int) -> tuple[NDArray[np.generic], int]:
    """Values partitioned about the one at a place in their order, and its place among them: all of `flat`, or
    a stretch that has a neighbour on either side of it, too."""
    ordered = None if flat.size < _MANY else _stretch(flat, place)
    if ordered is None:
        ordered = flat.copy(), place
    ordered[0].partition(ordered[1])
    return ordered


def _stretch(flat: NDArray[np.generic], place: int) -> tuple[NDArray[np.generic], int] | None:
    """The values in order about a place, and that place among them; None where the sample misleads."""
    every = min(max(_LEAST_EVERY, flat.size // _SAMPLE), _MOST_EVERY)
    sample = np.sort(flat[::every])
    slack, last = _SLACK * math.sqrt(len(sample)), len(sample) - 1
    least, most = (sample[min(max(0, round(place / every + by)), last)] for by in (-slack, slack))
    inside = flat >= least
    place -= flat.size - int(np.count_nonzero(inside))
    inside &= flat <= most
    near = flat[inside]
    return (near, place) if 0 < place < len(near) - 1 else None
