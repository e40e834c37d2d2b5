"""What a colour could have been: errors of the light, the same ones every time, and how likely each is."""

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from wearview.colour import delta_e

# 90 % of a normal distribution lie within this many standard deviations.
SIGMAS_90 = 1.6448536269514722

_PAIRS = 128
# An error of exposure weighs more than one of colour: in linear light, exposure x0.8 on a tan lining is
# a Delta E of 5.0, a red gain of x1.1 one of 2.8 (computed).
_WEIGHTS = (2.0, 1.0, 1.0)


# Power of the normal likelihood, chosen from 1 to 6 on 285 rendered linings: true levels are the likeliest
# under 2 and 3, and under 3 more photos get a grade. Stated half widths are on the safe side.
_SHARPNESS = 3.0


def _colour_errors() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    # Additive recurrence on powers of the real root of x^4 = x + 1: evenly spread in three dimensions
    # for any number of points (M. Roberts, 2018, "The unreasonable effectiveness of quasirandom
    # sequences", web article; from memory).
    root = 1.2207440846057596
    steps = np.array([root**-1, root**-2, root**-3])
    even = (0.5 + np.outer(np.arange(1, _PAIRS + 1), steps)) % 1
    normal = np.vectorize(NormalDist().inv_cdf)(even)
    both = np.concatenate([normal, -normal])  # mirrored, so that the mean error is none at all
    both = both / both.std(axis=0)
    weighted = both * _WEIGHTS
    errors = np.vstack([np.zeros(3), weighted / np.quantile(np.linalg.norm(weighted, axis=1), 0.9)])
    likelihood = np.append(1.0, np.exp(-_SHARPNESS / 2 * (both**2).sum(axis=1)))
    errors.flags.writeable = likelihood.flags.writeable = False
    return errors, likelihood


COLOUR_ERRORS, ERROR_LIKELIHOOD = _colour_errors()
"""Shape (257, 3): errors in L*, a*, b* spread as such errors are, the first none at all, in units where 90 %
of them are no longer than 1. Shape (257,): how likely each is beside none at all."""


def in_quadrature(*half_widths: float) -> float:
    """Half width of the sum of independent errors; NaN when one of them is not finite."""
    if not all(map(math.isfinite, half_widths)):
        return math.nan
    return math.hypot(*half_widths)


def lab_errors(around: NDArray[np.floating], uncertainty: float) -> NDArray[np.float32]:
    """Errors in Lab of a colour known to within `uncertainty`.

    Parameters
    ----------
    around : ndarray, shape (3,)
        The colour, CIELAB.
    uncertainty : float
        Half width of the 90 % interval in Delta E; 0 and up.

    Returns
    -------
    ndarray, shape (N, 3), float32
        Added to L*, a*, b*. 90 % of them are about `uncertainty` long in Delta E; `ERROR_LIKELIHOOD` says how
        likely each is.
    """
    per_unit = delta_e(np.asarray(around) + np.eye(3), around)
    return (COLOUR_ERRORS * uncertainty / per_unit).astype(np.float32)


def half_width(draws: NDArray[np.floating]) -> NDArray[np.float64]:
    """Half width of the 90 % interval of equally likely values, along the first axis; NaN for none."""
    if not len(draws):
        return np.full(draws.shape[1:], np.nan)
    low, high = np.quantile(draws, (0.05, 0.95), axis=0)
    return np.asarray((high - low) / 2)
