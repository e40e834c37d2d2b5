"""Grain and sheen of a lining: what glazing takes away and what it adds."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts import Part

MIN_GRAIN_DIAMETER = 330  # full-size pixels of the outer diameter: below, 0.5 mm of fibre is under two pixels


def read_texture(part: Part, mask: NDArray[np.bool_], lab: NDArray[np.float32]) -> tuple[float, float]:
    """Grain and sheen of a lining in L*; grain NaN where fibres are finer than the pixels.

    Grain is band-passed L* between 1/400 and 1/110 of the diameter, on the grid, where every plate has one scale. Sheen
    is how far the brightest tenth stands over the median once the grain is averaged away.
    """
    size = math.sqrt(part.outer.major * part.outer.minor) if part.outer is not None else 8 * part.width
    lightness = lab[..., 0]
    weight = mask.astype(np.float32)

    def blurred(sigma: float) -> NDArray[np.float32]:
        share = cv2.GaussianBlur(weight, (0, 0), sigma)
        return np.asarray(cv2.GaussianBlur(lightness * weight, (0, 0), sigma) / np.maximum(share, 1e-3))

    if mask.sum() < 500:
        return math.nan, math.nan
    broad = blurred(6.0)
    values = broad[mask]
    sheen = float(np.quantile(values, 0.95) - np.quantile(values, 0.5))
    if size < MIN_GRAIN_DIAMETER:
        return math.nan, sheen
    fine = (blurred(0.7) - blurred(2.2))[mask]
    grain = 1.4826 * float(np.median(np.abs(fine - np.median(fine))))
    return grain, sheen
