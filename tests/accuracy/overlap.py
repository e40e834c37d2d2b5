"""Scores of one mask or outline against another, and which finding belongs to which part."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]

MATCHED = 0.5  # intersection over union from which on a finding is the part
BOUNDARY_TOLERANCE = 0.002  # of the image diagonal: 4 px in 1600 x 1200, a tenth of a lining's width


def iou(a: Mask, b: Mask) -> float:
    """Intersection over union, 0..1; two empty masks have none in common: 0.

    References
    ----------
    P. Jaccard (1912), New Phytologist 11, 37-50.
    """
    union = np.count_nonzero(a | b)
    return float(np.count_nonzero(a & b) / union) if union else 0.0


def dice(a: Mask, b: Mask) -> float:
    """Twice the intersection over the sum of the areas, 0..1.

    References
    ----------
    L. R. Dice (1945), Ecology 26, 297-302.
    """
    total = np.count_nonzero(a) + np.count_nonzero(b)
    return float(2 * np.count_nonzero(a & b) / total) if total else 0.0


def boundary_f(seen: Mask, truth: Mask, tolerance_px: float) -> float:
    """Harmonic mean of how much of each boundary lies within the tolerance of the other, 0..1.

    References
    ----------
    D. Martin, C. Fowlkes, J. Malik (2004), IEEE PAMI 26, 530-549.
    """
    if not seen.any() or not truth.any():
        return 0.0
    at = _box_of(seen | truth, math.ceil(tolerance_px) + 2)
    edges = [_boundary(mask[at]) for mask in (seen, truth)]
    distance = [
        cv2.distanceTransform((~edge).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) for edge in edges
    ]
    precision = float((distance[1][edges[0]] <= tolerance_px).mean())
    recall = float((distance[0][edges[1]] <= tolerance_px).mean())
    return 2 * precision * recall / (precision + recall) if precision + recall else 0.0


def _box_of(mask: Mask, margin: int) -> tuple[slice, slice]:
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(0, rows[0] - margin), rows[-1] + margin + 1),
        slice(max(0, columns[0] - margin), columns[-1] + margin + 1),
    )


def _boundary(mask: Mask) -> Mask:
    """Pixels of a mask with a neighbour outside it; beyond the picture is outside."""
    padded = np.pad(mask.astype(np.uint8), 1)
    core = cv2.erode(padded, cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3)))
    return np.asarray((padded > core)[1:-1, 1:-1])


def axis_end_error(seen: Mapping[str, float], truth: Mapping[str, float]) -> float:
    """Largest distance from the four ends of the true axes to the found ellipse, in true major axes.

    Distances are to the curve, not to the found axes' ends: the axes of a circle may point anywhere.
    """
    ends = _points(truth, np.arange(4) * np.pi / 2)
    curve = _points(seen, np.linspace(0, 2 * np.pi, 1440, endpoint=False))
    nearest = np.linalg.norm(ends[:, None] - curve[None], axis=2).min(axis=1)
    return float(nearest.max()) / truth["major"]


def _points(ellipse: Mapping[str, float], angles: NDArray[np.float64]) -> NDArray[np.float64]:
    turn = math.radians(ellipse["angle_deg"])
    along = ellipse["major"] / 2 * np.cos(angles)
    across = ellipse["minor"] / 2 * np.sin(angles)
    x = ellipse["cx"] + along * math.cos(turn) - across * math.sin(turn)
    y = ellipse["cy"] + along * math.sin(turn) + across * math.cos(turn)
    return np.stack([x, y], axis=1)


@dataclass(frozen=True, slots=True)
class Matching:
    """Which finding belongs to which true part.

    Attributes
    ----------
    pairs : tuple of (int, int)
        Finding, true part.
    ignored : tuple of int
        Findings that lie on a part nobody has to find: neither right nor wrong.
    extra : tuple of int
        Findings that are no part, or fit one too badly.
    missed : tuple of int
        True parts that had to be found and were not.
    """

    pairs: tuple[tuple[int, int], ...]
    ignored: tuple[int, ...]
    extra: tuple[int, ...]
    missed: tuple[int, ...]


def match(
    seen: Sequence[Mask], confidence: Sequence[float], truth: Sequence[Mask], required: Sequence[bool]
) -> Matching:
    """Match findings to true parts, the most confident first, each to the best free part at IoU 0.5 or more.

    A finding at least half of which lies on a part that is not ``required`` is ignored, unless it fits a
    required one.

    References
    ----------
    T.-Y. Lin and others (2014), Microsoft COCO, ECCV, and its evaluation code, whose rule for crowds is the
    one for parts not required here.
    """
    free = {k for k, needed in enumerate(required) if needed}
    pairs, ignored, extra = [], [], []
    for i in sorted(range(len(seen)), key=lambda i: -confidence[i]):
        best = max(((iou(seen[i], truth[k]), k) for k in sorted(free)), default=(0.0, -1))
        if best[0] >= MATCHED:
            free.discard(best[1])
            pairs.append((i, best[1]))
        elif any(not required[k] and share_on(seen[i], truth[k]) >= MATCHED for k in range(len(truth))):
            ignored.append(i)
        else:
            extra.append(i)
    return Matching(tuple(pairs), tuple(ignored), tuple(extra), tuple(sorted(free)))


def share_on(mask: Mask, other: Mask) -> float:
    """Share of a mask that lies on another, 0..1."""
    size = np.count_nonzero(mask)
    return float(np.count_nonzero(mask & other) / size) if size else 0.0
