"""Whether the lamp was moved between two photos, and shine parted from a surface's own colour by both."""

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import srgb_to_linear

Plane = NDArray[np.float32]

# Chroma, of a white sheet's light, under which a surface has no colour to tell its own light from a shine.
LEAST_COLOUR = 0.02
_COPY = 80  # long side of the copies on which the light of two photos is compared: no grain, no noise
_BORDER = 0.06  # of it, where a nudged photo shows nothing
_DARKEST, _LIGHTEST = 0.005, 0.9  # linear: noise says nothing beyond, nor what is blown out


def light_change(first: NDArray[np.uint8], second: NDArray[np.uint8]) -> float:
    """How unevenly the light changed between two photos that lie on each other.

    Parameters
    ----------
    first, second : ndarray, shape (H, W, 3)
        Working copies, 8-bit sRGB.

    Returns
    -------
    float
        Interquartile range of the log of how much brighter each place became: 0 when only the exposure did,
        or nothing is light enough to tell.
    """
    size = [round(side * _COPY / max(first.shape[:2])) for side in first.shape[1::-1]]
    greys = [
        cv2.resize(srgb_to_linear(rgb8).mean(axis=-1), size, interpolation=cv2.INTER_AREA)
        for rgb8 in (first, second)
    ]
    border = round(_BORDER * _COPY)
    before, after = (grey[border:-border, border:-border] for grey in greys)
    seen = (np.minimum(before, after) > _DARKEST) & (np.maximum(before, after) < _LIGHTEST)
    if not seen.any():
        return 0.0
    low, high = np.quantile(np.log(after[seen] / before[seen]), (0.25, 0.75))
    return float(high - low)


def moved_shine(first: Plane, second: Plane, mask: NDArray[np.bool_], reach: float) -> Plane:
    """How much neutral light moved with the lamp.

    Parameters
    ----------
    first, second : ndarray, shape (H, W, 3)
        Linear RGB of the same surface under two lights, both taken out: a white sheet is 1 in each.
    mask : ndarray of bool, shape (H, W)
        Where both show the surface.
    reach : float
        Pixels over which lamp and shine change little: standard deviation of the weights.

    Returns
    -------
    ndarray, shape (H, W), float32
        The second photo's shine less the first one's as the second light would show it, as a share of a
        white sheet's light. NaN off the mask and where the surface has no colour.

    Notes
    -----
    Dichromatic reflection with a neutral interface: each photo shows d x body + s x white, with the same body
    colour (S. A. Shafer, Color Research and Application 10, 210-218, 1985; H.-C. Lee, E. J. Breneman and
    C. P. Schulte, IEEE Transactions on Pattern Analysis and Machine Intelligence 12, 402-409, 1990; both from
    memory). Two lights make it linear at every point without knowing the body's colour (S. Lin and H.-Y.
    Shum, Separation of diffuse and specular reflection in color images, CVPR 2001; abstract seen). Here white
    is known, so what is left of a colour without its grey, c = rgb - mean(rgb), is the body's alone, and
    d2 / d1 = (c1 . c2) / (c1 . c1); then s2 - (d2 / d1) s1 = mean(rgb2) - (d2 / d1) mean(rgb1).
    """
    weight = mask.astype(np.float32)
    grey1, grey2 = (rgb.mean(axis=-1, keepdims=True) for rgb in (first, second))
    colour1, colour2 = first - grey1, second - grey2

    def near(values: NDArray[np.floating]) -> Plane:
        return np.asarray(cv2.GaussianBlur((values * weight).astype(np.float32), (0, 0), reach), np.float32)

    count = np.maximum(near(np.ones(mask.shape)), 1e-6)
    own = near((colour1 * colour1).sum(axis=-1))
    ratio = near((colour1 * colour2).sum(axis=-1)) / np.maximum(own, 1e-12)
    moved = (near(grey2[..., 0]) - ratio * near(grey1[..., 0])) / count
    return np.where(mask & (own / count >= LEAST_COLOUR**2), moved, np.nan).astype(np.float32)
