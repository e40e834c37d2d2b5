"""Thin straight lines in a lining's texture: what a mask of its grooves left of them."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.ranks import middle

Plane = NDArray[np.float32]

# Lines are looked for in so many directions, by a filter this long (pixels at least, and as a share of the
# diameter), this wide, beside a strip around it: standard deviations. A line stands out so many times as far
# as the texture usually does along one. Chosen on 71 tuned rendered pairs.
_DIRECTIONS, _LONG, _LONG_SHARE, _WIDE, _AROUND, _STANDS_OUT = 12, 8.0, 1 / 40, 1.0, 4.0, 3.0
_LEAST_COVER = 0.1  # of a filter's weight that lies on the land
_EVERY = 3  # pixels of the land that say what is usual


def without_lines(texture: Plane, land: Plane, diameter: float) -> Plane:
    """The land less its lines and the pixels beside them, 0 or 1.

    Parameters
    ----------
    texture : ndarray, shape (H, W)
        Its broad course taken out, 0 off the land.
    land : ndarray, shape (H, W)
        0 or 1.
    diameter : float
        Of the plate, in pixels.

    Notes
    -----
    Fibres lie every way and are short; along a groove the texture does not average out.
    """
    along = max(_LONG, _LONG_SHARE * diameter)
    from scipy.fft import irfft2, rfft2  # a sixth of a second that photos under one light save

    side = [cv2.getOptimalDFTSize(length + 2 * math.ceil(along)) for length in texture.shape]
    seen = np.s_[: texture.shape[0], : texture.shape[1]]
    down = np.fft.fftfreq(side[0])[:, None].astype(np.float32)
    across = np.fft.rfftfreq(side[1])[None].astype(np.float32)
    of_texture, of_land = (rfft2(plane, side) for plane in (texture, land))
    on, usual, most = land > 0, [], np.zeros(texture.shape, np.float32)
    for turn in np.arange(_DIRECTIONS) * math.pi / _DIRECTIONS:
        u = across * np.float32(math.cos(turn)) + down * np.float32(math.sin(turn))
        v = down * np.float32(math.cos(turn)) - across * np.float32(math.sin(turn))
        narrow, wide = _gaussian(u, along, v, _WIDE), _gaussian(u, along, v, _AROUND)
        line = np.abs(irfft2(of_texture * (narrow - wide), side)[seen])
        # A filter that lies on the land only in part averages fewer fibres: they stand out more by chance.
        cover = irfft2(of_land * _gaussian(u, along / math.sqrt(2), v, _WIDE / math.sqrt(2)), side)[seen]
        line = np.where(cover > _LEAST_COVER, line / np.sqrt(np.maximum(cover, 0.25)), 0)
        usual.append(line[on][::_EVERY])
        most = np.maximum(most, line)
    # The middle of the absolute values of a normal distribution lies 0.6745 standard deviations out.
    lines = (most > _STANDS_OUT / 0.6745 * middle(np.concatenate(usual))) & on
    wider = cv2.dilate(lines.astype(np.uint8), np.ones((3, 3), np.uint8))
    return np.asarray(land * (1 - wider), np.float32)


def _gaussian(u: Plane, along: float, v: Plane, across: float) -> Plane:
    """Spectrum of a Gaussian filter of these standard deviations."""
    return np.exp(-2 * math.pi**2 * ((along * u) ** 2 + (across * v) ** 2)).astype(np.float32)
