"""Which part of a shot is which of the first shot's, the phone turned between them or not."""

import math
from collections.abc import Mapping, Sequence
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from wearview.look import centre_of
from wearview.pair import alike_when_laid
from wearview.parts import Part

_NEAR = 0.4  # of the distance of neighbours: how far a part may lie from its place, at a slant
_SIZES = 0.35  # log of how much larger or smaller a plate may come out than the layout says, at a slant
# Correlation of two photos' edges that one way to lie must reach, and the share of what the next best way
# lacks of 1 that it may lack. Of tuned photos turned by any angle and held a little otherwise, the right way
# has 0.98 or more, the wrong one 0.78 at most (118 pairs of rows); with the lamp moved 0.87 or more, and
# lacks 0.41 of what the wrong one does at most (43 pairs of plates, half a turn for the wrong way).
_LEAST, _LACKS = 0.6, 0.6

Order = tuple[int, ...]


def ways_to_lie(first: Sequence[Part], again: Sequence[Part]) -> dict[Order, NDArray[np.float64]]:
    """The ways in which the parts of a shot can be those of the first one by where they lie and how large
    they are: a turn, a scale and a shift take one layout to the other, no mirror.

    Parameters
    ----------
    first, again : sequence of Part
        As many of each, two at least.

    Returns
    -------
    dict of tuple of int to ndarray, shape (3, 3)
        For each way, which part of `again` each of `first` is, with what takes full-size pixels of the first
        photo to those of the other one.
    """
    here, there = (_places(parts) for parts in (first, again))
    if len(set(here)) < len(here) or len(set(there)) < len(there):
        return {}
    sizes = [np.array([_size(part) for part in parts]) for parts in (first, again)]
    far = max(permutations(range(len(here)), 2), key=lambda pair: abs(here[pair[0]] - here[pair[1]]))
    apart = np.abs(there[:, None] - there[None, :])
    reach = _NEAR * apart[apart > 0].min()
    found: dict[Order, tuple[float, NDArray[np.float64]]] = {}
    for one, other in permutations(range(len(there)), 2):
        turn = (there[other] - there[one]) / (here[far[1]] - here[far[0]])
        shift = there[one] - turn * here[far[0]]
        away = np.abs(turn * here[:, None] + shift - there[None, :])
        order = tuple(int(n) for n in away.argmin(axis=1))
        off = float(away.min(axis=1).max())
        larger = np.log(sizes[1][list(order)] / (abs(turn) * sizes[0]))
        known = larger[np.isfinite(larger)]
        fits = off <= reach and (not known.size or np.abs(known).max() <= _SIZES)
        if len(set(order)) == len(order) and fits and (order not in found or off < found[order][0]):
            found[order] = off, _matrix(turn, shift)
    return {order: warp for order, (_, warp) in found.items()}


def surest_way(
    ways: Mapping[Order, NDArray[np.float64]],
    first: tuple[NDArray[np.uint8], float],
    again: tuple[NDArray[np.uint8], float],
) -> Order | None:
    """The one of several ways to lie in which both photos show the same bench and plates; None where that
    cannot be told.

    Parameters
    ----------
    ways : mapping of tuple of int to ndarray, shape (3, 3)
        What `ways_to_lie` found.
    first, again : (ndarray, shape (H, W, 3), uint8, and float)
        Working copy of either photo, and full-size pixels per pixel of it.
    """
    if len(ways) == 1:
        return next(iter(ways))
    to_first, to_again = (_full_size(scale) for _, scale in (first, again))
    alike = {
        order: alike_when_laid(first[0], again[0], np.linalg.inv(to_again) @ warp @ to_first)
        for order, warp in ways.items()
    }
    best, second, *_ = sorted(alike.values(), reverse=True)
    if best < _LEAST or 1 - best > _LACKS * (1 - second):
        return None
    return max(alike, key=lambda order: alike[order])


def _places(parts: Sequence[Part]) -> NDArray[np.complex128]:
    return np.array([complex(*centre_of(part)) for part in parts])


def _size(part: Part) -> float:
    """About the radius of a plate; NaN for a band, and for a plate seen from its edge."""
    return (
        math.nan
        if part.outer is None or part.inner is None
        else math.sqrt(part.outer.major * part.outer.minor) / 2
    )


def _matrix(turn: complex, shift: complex) -> NDArray[np.float64]:
    return np.array([[turn.real, -turn.imag, shift.real], [turn.imag, turn.real, shift.imag], [0, 0, 1]])


def _full_size(scale: float) -> NDArray[np.float64]:
    """Takes pixels of a working copy to those of the full-size photo."""
    shift = (scale - 1) / 2
    return np.array([[scale, 0, shift], [0, scale, shift], [0, 0, 1]])
