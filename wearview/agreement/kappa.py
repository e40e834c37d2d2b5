"""Weighted kappa with its large-sample standard errors, from a square table of counts."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True)
class Kappa:
    """Agreement beyond chance.

    Attributes
    ----------
    value : float
        1 is full agreement, 0 what chance gives; NaN when either rater used one level only.
    error : float
        Large-sample standard error of `value`.
    error_by_chance : float
        The standard error if there were no agreement beyond chance; for testing that.
    """

    value: float
    error: float
    error_by_chance: float


def quadratic_weights(levels: int) -> NDArray[np.float64]:
    """Agreement weights 1 - (i - j)^2 / (k - 1)^2, shape (k, k)."""
    off = np.subtract.outer(np.arange(levels), np.arange(levels)) / (levels - 1)
    return np.asarray(1 - off**2)


def kappa_values(counts: ArrayLike, weights: ArrayLike) -> NDArray[np.float64]:
    """Weighted kappa of each table of a stack.

    Parameters
    ----------
    counts : array, shape (..., k, k)
        Ratings, rows by one rater, columns by the other; counts or shares. A level nobody used keeps its row.
    weights : array, shape (k, k)
        Agreement weights, 1 on the diagonal.

    Returns
    -------
    ndarray, shape (...)
        NaN where chance alone would agree fully, which is so when both raters used one and the same level.

    References
    ----------
    J. Cohen (1968), Weighted kappa, Psychological Bulletin 70, 213-220.
    """
    p = np.asarray(counts, dtype=float)
    w = np.asarray(weights, dtype=float)
    with np.errstate(invalid="ignore", divide="ignore"):
        p = p / p.sum(axis=(-2, -1), keepdims=True)
        seen = (w * p).sum(axis=(-2, -1))
        chance = np.einsum("...i,ij,...j->...", p.sum(axis=-1), w, p.sum(axis=-2))
        return np.asarray(np.where(chance < 1, (seen - chance) / (1 - chance), np.nan))


def kappa(counts: ArrayLike, weights: ArrayLike) -> Kappa:
    """Weighted kappa of one table with its standard errors.

    Parameters
    ----------
    counts : array, shape (k, k)
        Counts of independent pairs of ratings.
    weights : array, shape (k, k)
        Agreement weights, 1 on the diagonal.

    Notes
    -----
    The errors take the pairs as independent. Plates of one pack are not: use the interval of `agree`.

    References
    ----------
    J. L. Fleiss, J. Cohen, B. S. Everitt (1969), Large sample standard errors of kappa and weighted kappa,
    Psychological Bulletin 72, 323-327.
    """
    table, w = np.asarray(counts, dtype=float), np.asarray(weights, dtype=float)
    n = table.sum()
    value = float(kappa_values(table, w))
    if not math.isfinite(value):
        return Kappa(math.nan, math.nan, math.nan)
    p = table / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    seen, chance = float((w * p).sum()), float(rows @ w @ columns)
    mean_weights = np.add.outer(w @ columns, rows @ w)
    own = (p * (w * (1 - chance) - mean_weights * (1 - seen)) ** 2).sum()
    variance = (own - (seen * chance - 2 * chance + seen) ** 2) / (n * (1 - chance) ** 4)
    by_chance = (np.outer(rows, columns) * (w - mean_weights) ** 2).sum() - chance**2
    return Kappa(
        value, math.sqrt(max(0.0, variance)), math.sqrt(max(0.0, by_chance / (n * (1 - chance) ** 2)))
    )
