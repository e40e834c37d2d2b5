"""How the light falls over a photo, seen on things of one colour that lie in several places."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_LAD_ROUNDS, _ROUNDS = 30, 8
_LEAST_SCATTER = 0.015  # log units; prints of one ink and a phone's noise
_RIDGE = np.array([0.01, 0.01, 0.02, 0.02, 0.02])  # few squares must not bend the field


def places(
    xy: NDArray[np.floating], size: tuple[int, int], middle: NDArray[np.floating] | None = None
) -> Array:
    """1, x, y, x^2, xy, y^2 of places in pixels; x and y run over [-1, 1] across the photo.

    Parameters
    ----------
    xy : ndarray, shape (N, 2)
    size : tuple of int
        Width and height of the photo.
    middle : ndarray, shape (2,), optional
        Count x and y from this place, in pixels, instead of the photo's middle.
    """
    scale = (np.array(size, float) - 1) / 2
    x, y = ((np.asarray(xy, float) - (scale if middle is None else middle)) / scale).T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def field_of_twins(
    names: Sequence[str] | NDArray[np.str_], level: NDArray[np.floating], terms: Array
) -> tuple[Array, Array]:
    """The light's field from things that look alike in several places, whatever their colour is.

    Parameters
    ----------
    names : sequence of str
        What each thing is; things of one name have one reflectance.
    level : ndarray, shape (N,)
        Their linear light, above 0.
    terms : ndarray, shape (N, 6)
        Their places, from `places`.

    Returns
    -------
    field : ndarray, shape (6,)
        Coefficients of the log light level, the first 0.
    off : ndarray, shape (N,)
        By how much the log of each thing lies off its name's level under that field.

    Notes
    -----
    One level per name and the field by least absolute deviations, which have one answer whatever is hidden,
    then by least squares with Cauchy weights from there. Squared from the start, a hidden thing of a pair
    bent the field so far that its twin looked hidden.
    """
    kinds, of = np.unique(np.asarray(names), return_inverse=True)
    log = np.log(np.maximum(level, 1e-5))
    design = np.hstack([np.eye(len(kinds))[of], terms[:, 1:]])
    ridge = np.diag(np.append(np.full(len(kinds), 1e-6), _RIDGE))
    weight = np.ones(len(log))
    field, off = np.zeros(6), log
    for turn in range(_LAD_ROUNDS + _ROUNDS):
        normal = design.T @ (design * weight[:, None]) + ridge
        solved = np.linalg.solve(normal, design.T @ (log * weight))
        field[1:] = solved[len(kinds) :]
        off = log - design @ solved
        if turn < _LAD_ROUNDS:
            weight = 0.1 / np.maximum(np.abs(off), 0.1 * _LEAST_SCATTER)
            continue
        scatter = max(_LEAST_SCATTER, 1.4826 * float(np.median(np.abs(off))))
        weight = 1 / (1 + (off / (2 * scatter)) ** 2)
    return field, off
