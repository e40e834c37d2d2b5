"""Grain that two photos of one lining share, free of the noise of either."""

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts import Part
from wearview.photo import Photo
from wearview.quality import edge_width
from wearview.ranks import middle
from wearview.surface.lines import without_lines
from wearview.surface.texture import (
    BAND,
    COPY,
    LEAST_AREA,
    MIN_DIAMETER,
    RING,
    WIDEST_EDGE,
    contrast,
    diameter_of,
    land_of,
    log_lost,
)

Plane = NDArray[np.float32]

_REACH = 5  # copy pixels that one photo may still lie off the other
# Frequencies each way that are averaged before the middle of a ring is taken: of a single one, the product
# of two photos is mostly chance.
_NEAR = 7


def read_shared_grain(
    first: Photo,
    second: Photo,
    to_second: NDArray[np.float64],
    part: Part,
    xy: NDArray[np.float32],
    mask: NDArray[np.bool_],
) -> float:
    """Contrast of the fibre texture that both photos show.

    Parameters
    ----------
    first, second : Photo
    to_second : ndarray, shape (3, 3)
        Takes pixels of the first to those of the second, within a few pixels.
    part : Part
        As found in the first.
    xy : ndarray, shape (H, W, 2), float32
        Where each pixel of the face's grid lies in the first.
    mask : ndarray of bool, shape (H, W)
        Grid pixels measured in both.

    Returns
    -------
    float
        As `Fibres.grain`: rms in the band, in per cent of L* + 16, as a sharp lens sees it on a plate of 400
        pixels. 0 where nothing is shared, NaN where plate or photos do not resolve it.

    Notes
    -----
    The cross spectrum of two pictures holds what is in both. The noise of one shot knows nothing of the
    other's, so none has to be guessed and taken off (J. S. Bendat and A. G. Piersol, Random Data; from
    memory). The tones of fibres stay when the lamp is moved, under oil too; a closed surface has none.
    Grooves stay as well, so lines are left out first.
    """
    size = diameter_of(part)
    if size < MIN_DIAMETER or not mask.any():
        return math.nan
    factor = min(1.0, COPY / size)
    copies, columns, rows = _copies(first, second, to_second, xy, mask, factor)
    land = land_of(mask, columns, rows, copies[0].shape[:2])
    edges = [edge_width(np.asarray(cv2.cvtColor(copy, cv2.COLOR_RGB2GRAY), np.uint8)) for copy in copies]
    if land.sum() < LEAST_AREA or any(edge > WIDEST_EDGE for edge in edges):
        return math.nan
    diameter = size * factor
    plain = [without_lines(contrast(copy, land, diameter), land, diameter) for copy in copies]
    land = np.minimum(*plain)
    if land.sum() < LEAST_AREA:
        return math.nan
    frequency, power = _shared_power([contrast(copy, land, diameter) for copy in copies], land)
    # Each ring counts as its area. The powers of noise fall on both sides of nothing.
    density = float(np.average(power * np.exp(log_lost(frequency, diameter, factor)), weights=frequency))
    return math.sqrt(max(0.0, density) * math.pi * (BAND[1] ** 2 - BAND[0] ** 2)) * COPY / (diameter)


def _copies(
    first: Photo,
    second: Photo,
    to_second: NDArray[np.float64],
    xy: NDArray[np.float32],
    mask: NDArray[np.bool_],
    factor: float,
) -> tuple[list[NDArray[np.uint8]], Plane, Plane]:
    """Both photos about the face at `factor` of their size, the second on the first one's pixels; and where
    the grid's pixels lie in them."""
    low = np.floor(xy[mask].min(axis=0)).astype(int) - 2
    high = np.ceil(xy[mask].max(axis=0)).astype(int) + 3
    corners = np.array([[(x, y) for x in (low[0], high[0]) for y in (low[1], high[1])]], float)
    there = cv2.perspectiveTransform(corners, to_second)[0]
    x0, y0 = np.maximum(low, 0)
    here = _small(first, (x0, y0), high, factor)
    from_low = np.maximum(np.floor(there.min(axis=0)).astype(int) - 2, 0)
    again = _small(
        second, (int(from_low[0]), int(from_low[1])), np.ceil(there.max(axis=0)).astype(int) + 3, factor
    )
    warp = _to_small(from_low, factor) @ to_second @ np.linalg.inv(_to_small(np.array([x0, y0]), factor))
    laid = cv2.warpPerspective(
        again,
        warp,
        (here.shape[1], here.shape[0]),
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    columns, rows = ((xy[..., k] - at + 0.5) * factor - 0.5 for k, at in enumerate((x0, y0)))
    return [here, np.asarray(laid, np.uint8)], columns, rows


def _small(photo: Photo, low: tuple[int, int], high: NDArray[np.int_], factor: float) -> NDArray[np.uint8]:
    crop = photo.rgb8[low[1] : max(high[1], low[1] + 1), low[0] : max(high[0], low[0] + 1)]
    if factor == 1:
        return crop
    return np.asarray(cv2.resize(crop, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), np.uint8)


def _to_small(low: NDArray[np.int_], factor: float) -> NDArray[np.float64]:
    """Pixel centres of a photo to those of its small copy from `low` on."""
    shift = (0.5 - low) * factor - 0.5
    return np.array([[factor, 0, shift[0]], [0, factor, shift[1]], [0, 0, 1.0]])


def _shared_power(textures: Sequence[Plane], land: Plane) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middles of the rings of frequency (cycles per pixel) and the power per pixel that both textures share,
    at the shift that brings most of it."""
    from scipy.fft import irfft2, rfft2  # a sixth of a second that photos under one light save

    window = cv2.GaussianBlur(land, (0, 0), 1.0) * land
    side = cv2.getOptimalDFTSize(max(land.shape) + _REACH)
    spectra = [rfft2(texture * window, (side, side)) for texture in textures]
    count = float((window**2).sum())
    cross = spectra[0] * spectra[1].conj() / count
    down, across = np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None]
    frequency = np.hypot(down, across)
    own = [_averaged(np.abs(each) ** 2 / count) for each in spectra]
    # Every frequency has one voice (phase correlation: C. D. Kuglin and D. C. Hines, Proc. IEEE Conference on
    # Cybernetics and Society, 1975; from memory): what is left of a few strong lines does not draw it.
    used = (frequency >= BAND[0]) & (frequency < BAND[1])
    alike = irfft2(np.where(used, cross / np.sqrt(own[0] * own[1] + 1e-12), 0), (side, side))
    y, x = _peak(np.roll(alike, (_REACH, _REACH), axis=(0, 1))[: 2 * _REACH + 1, : 2 * _REACH + 1])
    shared = _averaged((cross * np.exp(2j * math.pi * (down * y + across * x))).real)
    ring = (frequency / RING).astype(np.int16)
    rings = np.arange(round(BAND[0] / RING), round(BAND[1] / RING))
    return np.asarray((rings + 0.5) * RING, float), np.array([middle(shared[ring == k]) for k in rings])


def _averaged(power: NDArray[np.floating]) -> Plane:
    return np.asarray(
        cv2.boxFilter(power.astype(np.float32), -1, (_NEAR, _NEAR), borderType=cv2.BORDER_REFLECT)
    )


def _peak(values: NDArray[np.floating]) -> tuple[float, float]:
    """Row and column of the highest value of a square, from its middle; between pixels by a parabola."""
    reach = values.shape[0] // 2
    at = np.unravel_index(int(values.argmax()), values.shape)
    out = []
    for axis, k in enumerate(at):
        line = np.take(values, at[1 - axis], axis=1 - axis)
        between = 0.0
        if 0 < k < 2 * reach:
            before, most, after = (float(line[k + step]) for step in (-1, 0, 1))
            bend = before - 2 * most + after
            between = 0.5 * (before - after) / bend if bend < 0 else 0.0
        out.append(k - reach + between)
    return out[0], out[1]
