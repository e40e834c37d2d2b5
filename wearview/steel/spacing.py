"""Marks that lie at equal steps round a plate."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

# Fewest marks that tell, and the most steps round the plate that are tried: more, and any marks fit some.
_LEAST, _MOST_STEPS = 4, 20
_OFF = 0.1  # of a step, how far from its place a mark may lie
_KEPT = 0.85  # of the marks that have to lie so: specks among them are no reason to doubt
_FILLED = 0.8  # of the places from the first mark to the last
_PHASES = np.arange(0, 1, 0.05)


def evenly_spaced(angles_deg: Sequence[float]) -> NDArray[np.intp]:
    """Which marks lie at equal steps, all round or along an arc; none where too few do.

    Sliding with frictional heat is unstable: load gathers in spots, as many as the plate has waves round it
    (J. R. Barber, Proc. R. Soc. A 312, 1969; A. E. Anderson and R. A. Knapp, Wear 135, 1990, from memory). So
    equal steps speak for hot spots, whatever their colour (common practice, no source). Dirt falls anywhere.

    Parameters
    ----------
    angles_deg : sequence of float
        Of the marks, 0..360.

    Returns
    -------
    ndarray of int
        Their places in ``angles_deg``, in order.
    """
    angles = np.asarray(angles_deg, float)
    best = np.empty(0, np.intp)
    least = max(_LEAST, _KEPT * len(angles))
    for steps in range(_LEAST, _MOST_STEPS + 1):
        at = (angles * steps / 360)[:, None] - _PHASES
        fits = np.abs(at - np.round(at)) <= _OFF
        for column, place in zip(fits.T, np.round(at).astype(int).T % steps, strict=True):
            chosen = np.flatnonzero(column)
            if len(chosen) >= max(least, len(best) + 1) and _in_turn(np.unique(place[chosen]), steps, least):
                best = chosen
    return best


def _in_turn(places: NDArray[np.int_], steps: int, least: float) -> bool:
    """Whether enough places are taken, and nearly all between the first and the last of them."""
    if len(places) < least:
        return False
    widest_gap = np.diff(places, append=places[0] + steps).max()
    return bool(len(places) >= _FILLED * (steps - widest_gap + 1))
