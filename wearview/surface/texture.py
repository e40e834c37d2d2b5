"""Grain of a lining: how much of its fibre texture can be seen, whatever size the plate has in the photo."""

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import SRGB_TO_XYZ, srgb_to_linear
from wearview.parts import Part
from wearview.photo import Photo
from wearview.quality import edge_width
from wearview.ranks import middle, quantile

COPY = 400  # pixels of the outer diameter at most, so that plates are compared at much the same size
MIN_DIAMETER = 220  # full-size pixels; below, a flock of fibres 0.7 mm across is a pixel
BAND_DIAMETERS = 3.4  # plate 136 mm, band 40 mm: middles of passenger-car sizes (common practice, no source)
LEAST_AREA = 400  # copy pixels of land between grooves and print
# Copy pixels, 10-90 % rise of the sharpest edges in view; 96 of 99 plates in sharp photos have less. Blur
# takes grain as glaze does, and on a grey lining nothing else tells them apart.
WIDEST_EDGE = 3.0

# Spatial frequencies in cycles per pixel of the copy. Below BAND lies the mottle of heat (2 mm and coarser)
# and the slope of the light, above it noise outweighs fibres. TAIL holds noise alone.
BAND, TAIL = (0.10, 0.24), (0.42, 0.48)
RING = 0.02
BANDS = (0.06, 0.10, 0.14, 0.18, 0.22, 0.26)  # edges of those told apart, coarse to fine
LEAST_LEFT = 0.05  # of a band's power once its noise is off
RINGS = np.arange(round(BANDS[0] / RING), round(TAIL[1] / RING))
FINE = 2.0  # copy pixels, sigma: what is broader is no speckle
TAIL_NOISE = 2.0  # noise of the band over that of the tail: cameras smooth, so noise falls off
# Lens, focus and sharpening together as a Gaussian, in full-size pixels; and the frequency in cycles per
# diameter where fibres have lost 1/e of their power. Fitted to 30 clean plates of rendered photos.
LENS, FIBRE_ROLL_OFF = 0.7, 88.0
FLATTENED = 1 / 60  # of the diameter: what is broader is heat or light, not grain
LUMINANCE = SRGB_TO_XYZ[1].astype(np.float32)


@dataclass(frozen=True, slots=True)
class Fibres:
    """What the land of a lining shows of its fibres in one photo.

    Attributes
    ----------
    grain : float
        Rms of the texture in the band, in per cent of L* + 16, as a sharp lens sees it on a plate 400 pixels
        across.
    bands : tuple of float
        Natural logs of the power in each of `BANDS`, in the same terms, noise taken off.
    noise : float
        Log of the power at frequencies that hold noise alone, in the same terms.
    skew, tail : float
        Third and fourth moment of the texture over its standard deviation's powers: what a closed surface
        keeps is specks and scores, most of them dark.
    speckle : float
        Log rms of the fine contrast of blue over red and green; a white balance does not move it.
    size : float
        Log of the plate's diameter in full-size pixels.
    """

    grain: float
    bands: tuple[float, ...]
    noise: float
    skew: float
    tail: float
    speckle: float
    size: float


def read_fibres(photo: Photo, part: Part, xy: NDArray[np.float32], mask: NDArray[np.bool_]) -> Fibres | None:
    """A lining's fibre texture.

    Parameters
    ----------
    photo : Photo
    part : Part
    xy : ndarray, shape (H, W, 2), float32
        Where each pixel of the face's grid lies in the photo.
    mask : ndarray of bool, shape (H, W)
        Measured pixels of the grid: grooves, print, glare and dirt left out.

    Returns
    -------
    Fibres or None
        None where plate or photo do not resolve them.

    Notes
    -----
    From the power spectrum of the land at the photo's own pixels. Of each ring of frequencies the median
    over all directions counts, divided by ln 2 (the powers of a random texture are exponentially
    distributed): grooves, cross hatching and scratches lie in few directions and do not move it, so that a
    waffle lining compares with a plain one. Noise is taken off, power per pixel put to one plate size (it
    grows with the square of the diameter), and what lens and pixels took is given back.
    """
    size = diameter_of(part)
    if size < MIN_DIAMETER or not mask.any():
        return None
    x, y = cv2.split(photo.at(xy))
    x0, y0 = (max(0, math.floor(along[mask].min()) - 2) for along in (x, y))
    x1, y1 = (math.ceil(along[mask].max()) + 3 for along in (x, y))
    copy, factor = photo.rgb8[y0:y1, x0:x1], min(1.0, photo.step * COPY / size)
    if factor < 1:
        copy = np.asarray(
            cv2.resize(copy, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), np.uint8
        )
    columns, rows = ((along - at + 0.5) * factor - 0.5 for along, at in ((x, x0), (y, y0)))
    land = land_of(mask, columns, rows, copy.shape[:2])
    edge = edge_width(np.asarray(cv2.cvtColor(copy, cv2.COLOR_RGB2GRAY), np.uint8))
    if land.sum() < LEAST_AREA or edge > WIDEST_EDGE:
        return None
    diameter = size * factor / photo.step
    linear = np.asarray(srgb_to_linear(copy), np.float32)
    texture = _contrast(linear, land, diameter)
    grain, bands, noise = _levels(*_power(texture, land), diameter, factor, photo.step)
    skew, tail = _moments(texture[land > 0])
    return Fibres(grain, bands, noise, skew, tail, _speckle(linear, land), math.log(size))


def diameter_of(part: Part) -> float:
    """Full-size pixels of a plate's diameter; of a band those of the plate whose fibres look as large."""
    rim = part.outer
    return BAND_DIAMETERS * part.width if rim is None else math.sqrt(rim.major * rim.minor)


def land_of(
    mask: NDArray[np.bool_],
    columns: NDArray[np.floating],
    rows: NDArray[np.floating],
    shape: tuple[int, int],
) -> NDArray[np.float32]:
    """Which pixels of the copy the grid's mask covers with all their neighbours, 0 or 1."""
    column, row = (np.rint(at).astype(np.int32) for at in (columns, rows))
    inside = (column >= 0) & (column < shape[1]) & (row >= 0) & (row < shape[0])
    cell, count = (row * shape[1] + column)[inside], shape[0] * shape[1]
    of_all, of_mask = np.bincount(cell, minlength=count), np.bincount(cell[mask[inside]], minlength=count)
    near, masked = (
        cv2.boxFilter(cells.reshape(shape).astype(np.float32), -1, (3, 3), normalize=False)
        for cells in (of_all, of_mask)
    )
    return np.asarray((near > 0) & (masked > 0.95 * near), np.float32)


def contrast(copy: NDArray[np.uint8], land: NDArray[np.float32], diameter: float) -> NDArray[np.float32]:
    """Texture of the land in per cent of L* + 16, its broad course taken out; 0 elsewhere."""
    return _contrast(srgb_to_linear(copy), land, diameter)


def _contrast(linear: NDArray[np.float32], land: NDArray[np.float32], diameter: float) -> NDArray[np.float32]:
    root = 116 * np.cbrt(np.maximum(linear @ LUMINANCE, 1e-4))  # L* + 16, CIE 15
    sigma = FLATTENED * diameter
    broad = cv2.GaussianBlur(root * land, (0, 0), sigma) / np.maximum(
        cv2.GaussianBlur(land, (0, 0), sigma), 1e-3
    )
    texture = 100 * (root / np.maximum(broad, 1) - 1) * land
    seen = texture[land > 0]
    # Cut at what is usual above the mean: grooves, specks and cracks too shallow to be masked are dark.
    limit = quantile(seen[seen > 0], 0.98) if (seen > 0).any() else 0.0
    return np.asarray(np.clip(texture, -limit, limit), np.float32)


def _power(
    texture: NDArray[np.float32], land: NDArray[np.float32]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middles of the rings of frequency (cycles per pixel) and the power per pixel in each."""
    window = cv2.GaussianBlur(land, (0, 0), 1.0) * land
    side = cv2.getOptimalDFTSize(max(land.shape))
    height, width = texture.shape
    padded = cv2.copyMakeBorder(
        texture * window, 0, side - height, 0, side - width, cv2.BORDER_CONSTANT, value=0
    )
    both = cv2.dft(padded, flags=cv2.DFT_COMPLEX_OUTPUT, nonzeroRows=height)
    spectrum = both.view(np.complex64)[:, : side // 2 + 1, 0]
    power = (spectrum.real**2 + spectrum.imag**2) / float((window**2).sum())
    flat = power.ravel()
    return np.asarray((RINGS + 0.5) * RING, float), np.array(
        [middle(flat.take(places)) for places in _places(side)]
    ) / math.log(2)


@lru_cache(maxsize=4)
def _places(side: int) -> list[NDArray[np.intp]]:
    """Which of the frequencies of a spectrum of this many rows lie in each ring."""
    frequency = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None])
    ring = (frequency / RING).astype(np.int16)
    return [np.flatnonzero(ring == k) for k in RINGS]


def _levels(
    frequency: NDArray[np.float64], power: NDArray[np.float64], diameter: float, factor: float, step: int
) -> tuple[float, tuple[float, ...], float]:
    """Grain, log power of the bands, and that of the noise, as of a plate 400 pixels across."""
    tail = power[frequency > TAIL[0]].mean()
    fibres = np.maximum(power - TAIL_NOISE * tail, LEAST_LEFT * power)
    density = np.log(np.maximum(fibres, 1e-9)) + log_lost(frequency, diameter, factor, step)
    used = (frequency > BAND[0]) & (frequency < BAND[1])
    contrast_at_400 = math.pi * (BAND[1] ** 2 - BAND[0] ** 2) * (COPY / diameter) ** 2
    grain = math.sqrt(math.exp(float(density[used].mean())) * contrast_at_400)
    to_400 = 2 * math.log(COPY / diameter)
    bands = tuple(
        float(density[(frequency > low) & (frequency < high)].mean()) + to_400
        for low, high in itertools.pairwise(BANDS)
    )
    return grain, bands, math.log(max(tail, 1e-9)) + to_400


def _moments(texture: NDArray[np.float32]) -> tuple[float, float]:
    """Third and fourth moment over the standard deviation's powers."""
    off = (texture - texture.mean()) / max(float(texture.std()), 1e-6)
    square = off * off  # a power of three takes twenty times as long
    return float((square * off).mean()), float((square * square).mean())


def _speckle(linear: NDArray[np.float32], land: NDArray[np.float32]) -> float:
    warm = linear[..., 0] + linear[..., 1]
    hue = np.log(np.maximum(linear[..., 2], 1e-4) / np.maximum(warm, 1e-4))
    broad = cv2.GaussianBlur(hue * land, (0, 0), FINE) / np.maximum(
        cv2.GaussianBlur(land, (0, 0), FINE), 1e-3
    )
    fine = (hue - broad)[land > 0]
    least, most = quantile(fine, 0.01), quantile(fine, 0.99)
    return math.log(max(float(np.clip(fine, least, most).std()), 1e-4))


def log_lost(
    frequency: NDArray[np.float64], diameter: float, factor: float, step: int = 1
) -> NDArray[np.float64]:
    """Log of the fibres' power that is lost at each frequency, in cycles per pixel of the copy.

    To the lens, to the copy's pixels (it is `factor` times the picture that was read, of whose pixels each is
    `step` of the photo's across) and to the fibres' own fineness.
    """
    blur = (LENS * factor / step) ** 2 + (1 - factor**2) / 12
    return (2 * math.pi * frequency) ** 2 * blur + (frequency * diameter / FIBRE_ROLL_OFF) ** 2
