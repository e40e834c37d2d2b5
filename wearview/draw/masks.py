"""Masks of parts at the full size of the photo."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts import Part
from wearview.record import GradedPhoto

Mask8 = NDArray[np.uint8]


def part_masks(graded: GradedPhoto) -> list[tuple[Mask8, Mask8]]:
    """Masks of every part in position order, part and face, the size of the upright photo, 0 or 255."""
    return [
        (_full(graded, part.part, part.part.part_mask), _full(graded, part.part, part.part.face_mask))
        for part in graded.parts
    ]


def _full(graded: GradedPhoto, part: Part, mask: NDArray[np.bool_]) -> Mask8:
    out = np.zeros((graded.height, graded.width), np.uint8)
    h, w = mask.shape
    x0, y0 = (np.array(part.origin) * part.scale).astype(int)
    x1 = min(graded.width, math.ceil((part.origin[0] + w) * part.scale))
    y1 = min(graded.height, math.ceil((part.origin[1] + h) * part.scale))
    if x1 <= x0 or y1 <= y0:
        return out
    # Where each full-size pixel lies in the working copy's crop.
    x = (np.arange(x0, x1) + 0.5) / part.scale - 0.5 - part.origin[0]
    y = (np.arange(y0, y1) + 0.5) / part.scale - 0.5 - part.origin[1]
    columns, rows = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
    soft = cv2.remap(mask.astype(np.float32), columns, rows, cv2.INTER_LINEAR, borderValue=0)
    out[y0:y1, x0:x1] = np.where(soft >= 0.5, 255, 0)
    return out
