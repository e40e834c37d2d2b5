"""Medians and quantiles of many pixels.

Those of NumPy look for NaN and for two neighbours at once, which takes ten times as long as one partition.
"""

import numpy as np
from numpy.typing import NDArray


def median(values: NDArray[np.floating], axis: int) -> NDArray[np.floating]:
    """Median along one axis of floats, `values` left as they are; the mean of the two middle ones of an even
    number.

    Values must not be NaN, and there must be one at least.
    """
    ordered = np.array(np.moveaxis(values, axis, -1), order="C")
    half = ordered.shape[-1] // 2
    ordered.partition(half, axis=-1)
    upper = ordered[..., half]
    if ordered.shape[-1] % 2:
        return np.asarray(upper)
    return np.asarray((ordered[..., :half].max(axis=-1) + upper) / 2)


def middle(values: NDArray[np.floating]) -> float:
    """Median of floats of any shape, as `median`."""
    ordered = np.array(values).ravel()
    half = ordered.size // 2
    ordered.partition(half)
    upper = ordered[half]
    return float(upper if ordered.size % 2 else (ordered[:half].max() + upper) / 2)


def quantile(values: NDArray[np.floating | np.integer], share: float) -> float:
    """The value under which a share (0..1) of numbers of any shape lies, between two neighbours in proportion
    (method 7 of R. J. Hyndman and Y. Fan, The American Statistician 50, 361-365, 1996; from memory).

    Values must not be NaN, and there must be one at least.
    """
    ordered = np.array(values).ravel()
    place = share * (ordered.size - 1)
    low = int(place)
    ordered.partition(low)
    below = float(ordered[low])
    if low + 1 == ordered.size:
        return below
    return below + (float(ordered[low + 1 :].min()) - below) * (place - low)
