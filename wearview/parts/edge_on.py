"""Plates that stand on edge: the network's word alone, since of a rim seen from the side too little shows."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.learned import EDGE_VIEW, Sight
from wearview.parts.part import Ellipse
from wearview.pieces import pieces

NARROW = 0.42  # minor over major axis: under it a face is seen at more than 65 degrees
# Chance from which on a cell is counted, and mean chance of what is called a plate on edge: of eight in tuned
# scenes seven read 0.81 and more, a screwdriver's handle and a pick 0.62.
LIKELY, SURE = 0.4, 0.75
LEAST_CELLS, SHORTEST = 14, 9.0  # of it, in cells: a twentieth of the frame is 10
MOST_TAKEN = 0.3  # of its cells that may lie on plates already found


@dataclass(frozen=True, slots=True, eq=False)
class EdgeOn:
    """A plate seen from its edge, in pixels of the working copy.

    Attributes
    ----------
    outline : Ellipse
        About what is seen of it.
    origin : tuple of int
        x, y of the mask's top-left pixel.
    mask : ndarray of bool, shape (h, w)
    confidence : float
        Mean chance of its cells, 0..1.
    """

    outline: Ellipse
    origin: tuple[int, int]
    mask: NDArray[np.bool_]
    confidence: float


def plates_on_edge(sight: Sight, taken: NDArray[np.bool_]) -> list[EdgeOn]:
    """Plates on edge beside those already found, whose masks `taken` (H, W) holds in the working copy."""
    chance = sight.chance[EDGE_VIEW]
    found = []
    for cells in blobs(chance > LIKELY, LEAST_CELLS):
        rows, columns = np.nonzero(cells)
        confidence = float(chance[rows, columns].mean())
        (x, y), sides, turn = cv2.minAreaRect(np.stack([columns, rows], 1).astype(np.float32))
        if confidence < SURE or max(sides) + 1 < SHORTEST:
            continue
        (cx, cy), long, short = sight.to_photo(np.array([x, y])), max(sides) + 1, min(sides) + 1
        angle = (turn if sides[0] >= sides[1] else turn + 90) % 180
        outline = Ellipse(float(cx), float(cy), long * sight.scale, short * sight.scale, angle)
        origin, mask = _in_photo(sight, cells, taken.shape)
        h, w = mask.shape
        under = taken[origin[1] : origin[1] + h, origin[0] : origin[0] + w] & mask
        if mask.any() and under.sum() < MOST_TAKEN * mask.sum():
            found.append(EdgeOn(outline, origin, mask & ~under, confidence))
    return found


def blobs(cells: NDArray[np.bool_], least: int) -> list[NDArray[np.bool_]]:
    """Connected groups of at least so many cells, gaps of one cell closed."""
    closed = cv2.morphologyEx(cells.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    labels, stats = pieces(closed)
    return [labels == k for k in range(1, len(stats)) if stats[k, cv2.CC_STAT_AREA] >= least]


def _in_photo(
    sight: Sight, cells: NDArray[np.bool_], shape: tuple[int, ...]
) -> tuple[tuple[int, int], NDArray[np.bool_]]:
    """A group of cells as a cropped mask of the working copy."""
    rows, columns = np.nonzero(cells)
    low = np.floor(sight.to_photo(np.array([columns.min() - 1, rows.min() - 1]))).astype(int)
    high = np.ceil(sight.to_photo(np.array([columns.max() + 1, rows.max() + 1]))).astype(int) + 1
    x0, y0 = (int(v) for v in np.maximum(low, 0))
    x1, y1 = min(int(high[0]), shape[1]), min(int(high[1]), shape[0])
    x, y = np.meshgrid(np.arange(x0, x1), np.arange(y0, y1))
    at = sight.to_cells(np.stack([x, y], -1)).astype(np.float32)
    read = cv2.remap(cells.astype(np.float32), at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return (x0, y0), np.asarray(read > 0.5)
