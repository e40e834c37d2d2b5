"""The order in which parts lie along the row."""

import numpy as np
from numpy.typing import NDArray

APPLY_ENDS = ("left", "right", "top", "bottom")


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
    spread = np.ptp(centres, axis=0)
    axis = 0 if spread[0] >= spread[1] else 1
    backwards = apply_end == ("right", "bottom")[axis]
    key = centres[:, axis] * (-1 if backwards else 1)
    return [int(i) for i in np.argsort(key, kind="stable")]
