"""Connected patches of a map of codes, and what borders on them."""

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.pieces import pieces
from wearview.steel.codes import N_CODES, UNSEEN, Codes

Labels = NDArray[np.int32]

# Pixels over which a border is read, so that the mixed pixel on it does not speak for the neighbour.
REACH = 2


def components(mask: NDArray[np.bool_]) -> tuple[int, Labels, NDArray[np.int32]]:
    """Number of patches, their labels (0 is none), and for each left, top, width, height, area."""
    labels, stats = pieces(mask)
    return len(stats) - 1, labels, stats


def find_borders(labels: Labels, count: int, codes: Codes) -> NDArray[np.int64]:
    """For each patch, how much of its border lies beside each code; shape (count + 1, number of codes)."""
    total = np.zeros((count + 1) * N_CODES, dtype=np.int64)
    for one, two in (
        (np.s_[:, :-REACH], np.s_[:, REACH:]),
        (np.s_[:-REACH], np.s_[REACH:]),
    ):
        for here, there in ((one, two), (two, one)):
            edge = (labels[here] > 0) & (labels[here] != labels[there])
            pairs = labels[here][edge] * N_CODES + codes[there][edge]
            total += np.bincount(pairs, minlength=total.size)
    return total.reshape(count + 1, N_CODES)


def share_beside(borders: NDArray[np.int64], *codes: int) -> NDArray[np.float64]:
    """Share of each patch's border on the measured face that lies beside the codes; 0 where it has none."""
    on_face = borders[:, :UNSEEN].sum(axis=1)
    return np.asarray(borders[:, list(codes)].sum(axis=1) / np.maximum(on_face, 1))


def near(mask: NDArray[np.bool_], distance: float) -> NDArray[np.bool_]:
    """The mask and all within `distance` pixels of it."""
    return np.asarray(cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 3) <= distance)
