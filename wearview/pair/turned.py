"""Two photos of one bench by hand, the phone turned between them: how well one lies on the other."""

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.pair.align import edges_of

_SIDE = 480  # long side of the copies
_STEPS = 40
_GAUSS = 5  # of `findTransformECC`
_OVERLAP = 0.3  # share of the first photo, under which nothing is said


def alike_when_laid(first: NDArray[np.uint8], again: NDArray[np.uint8], guess: NDArray[np.float64]) -> float:
    """Correlation of the edges of two photos once the second is laid onto the first.

    Parameters
    ----------
    first, again : ndarray, shape (H, W, 3)
        Working copies, 8-bit RGB.
    guess : ndarray, shape (3, 3)
        Takes pixels of the first to about where the second shows the same.

    Returns
    -------
    float
        From -1 to 1; -1 where they overlap too little.

    Notes
    -----
    The bench is a plane, so a homography takes one photo to the other. It is brought to the highest
    correlation (ECC, see `align`) from the guess on; where that does not converge, the guess is measured.
    """
    sizes = [_size(photo) for photo in (first, again)]
    here, there = (edges_of(photo, size) for photo, size in zip((first, again), sizes, strict=True))
    scales = [
        np.diag([size[0] / photo.shape[1], size[1] / photo.shape[0], 1.0])
        for photo, size in zip((first, again), sizes, strict=True)
    ]
    warp = (scales[1] @ guess @ np.linalg.inv(scales[0])).astype(np.float32)
    steps = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, _STEPS, 1e-4)
    try:
        _, better = cv2.findTransformECC(here, there, warp.copy(), cv2.MOTION_HOMOGRAPHY, steps, None, _GAUSS)
    except cv2.error:  # it did not converge
        better = warp
    return max(_correlation(here, there, each) for each in (warp, better))


def _correlation(here: NDArray[np.float32], there: NDArray[np.float32], warp: NDArray[np.float32]) -> float:
    size = here.shape[1], here.shape[0]
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    laid = cv2.warpPerspective(there, warp, size, flags=flags)
    seen = cv2.warpPerspective(np.ones_like(there), warp, size, flags=flags) > 0.99
    if seen.mean() < _OVERLAP:
        return -1.0
    smooth = [cv2.GaussianBlur(each, (_GAUSS, _GAUSS), 0)[seen] for each in (here, laid)]
    return float(np.corrcoef(*smooth)[0, 1])


def _size(photo: NDArray[np.uint8]) -> tuple[int, int]:
    factor = min(1.0, _SIDE / max(photo.shape[:2]))
    return round(photo.shape[1] * factor), round(photo.shape[0] * factor)
