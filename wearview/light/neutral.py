"""Plain white paper and grey cards in view: flat, four-cornered, of one colour, and as grey as the light lets them be."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import srgb_to_linear

# Reflectance of what people lay beside the part. Office paper reflects 0.82 to 0.92 of the light, a photographer's grey
# card 0.18 by definition (both from memory).
REFLECTANCE = {"paper": 0.87, "card": 0.18}
PAPER_FROM = 0.30  # linear; an 18 % card reaches it only when overexposed by three quarters of a stop
MIN_AREA, MAX_AREA = 0.006, 0.45  # of the photo
FLAT = 9.0  # 8-bit codes of gradient per pixel, after smoothing
SOLID = 0.90  # area over the area of the convex hull
CORNERS = (4, 6)  # a sheet whole in view has four, one cut by two edges of the frame six
# Log ratios of red and blue to green under which a sheet can still be white: the phone's own white balance has taken out
# most of the lamp. Cardboard (about +0.3, -0.6) and blue shop towels (-0.4, +0.4) lie outside.
RED, BLUE = (-0.30, 0.30), (-0.50, 0.36)
CLIPPED = 250


@dataclass(frozen=True, slots=True, eq=False)
class Neutral:
    """A neutral surface in view.

    Attributes
    ----------
    kind : str
        "paper" or "card".
    white : ndarray, shape (3,)
        Linear RGB a perfect white would have at its place.
    centre : tuple of float
        x, y in pixels of the picture it was found in.
    mask : ndarray of bool
        Its inside, the size of that picture.
    clipped : float
        Share of it that is blown out, 0..1.
    """

    kind: str
    white: NDArray[np.float64]
    centre: tuple[float, float]
    mask: NDArray[np.bool_]
    clipped: float


def find_neutrals(rgb8: NDArray[np.uint8], taken: NDArray[np.bool_]) -> list[Neutral]:
    """Neutral surfaces, best first.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
        A small copy of the photo, about 800 pixels long.
    taken : ndarray of bool, shape (H, W)
        Where parts lie.
    """
    smooth = cv2.GaussianBlur(rgb8, (0, 0), 1.8)
    dx, dy = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    gradient = np.sqrt((dx * dx + dy * dy).max(axis=2)) / 8 * 3
    flat = (gradient < FLAT) & ~taken
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    flat8 = cv2.morphologyEx(flat.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    found = []
    # A sheet may lie on a bench as flat as itself; bright pixels alone separate them then.
    level = smooth.max(axis=2)
    brightest = float(np.percentile(level, 99.5))
    bright8 = ((level > 0.86 * brightest) & ~taken).astype(np.uint8)
    for candidate in (flat8, cv2.morphologyEx(bright8, cv2.MORPH_OPEN, kernel)):
        found.extend(_sheets(candidate, rgb8))
    found.sort(key=lambda n: -_quality(n))
    return found


def _sheets(candidate: NDArray[np.uint8], rgb8: NDArray[np.uint8]) -> list[Neutral]:
    height, width = candidate.shape
    count, label, stats, centres = cv2.connectedComponentsWithStats(candidate, connectivity=4)
    found = []
    for i in range(1, count):
        x, y, w, h, area = stats[i]
        if not MIN_AREA * height * width < area < MAX_AREA * height * width:
            continue
        region = (label[y : y + h, x : x + w] == i).astype(np.uint8)
        contour = max(
            cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0], key=cv2.contourArea
        )
        hull = cv2.convexHull(contour)
        if area < SOLID * cv2.contourArea(hull):
            continue
        corners = cv2.approxPolyDP(hull, 0.035 * cv2.arcLength(hull, True), True)
        if not CORNERS[0] <= len(corners) <= CORNERS[1]:
            continue
        if cv2.contourArea(corners) < 0.93 * cv2.contourArea(hull):
            continue
        inside = cv2.erode(region, np.ones((5, 5), np.uint8), borderValue=0).astype(bool)
        if inside.sum() < 60:
            continue
        codes = rgb8[y : y + h, x : x + w][inside]
        clipped = float((codes >= CLIPPED).any(axis=1).mean())
        linear = srgb_to_linear(codes)
        open_ = linear[(codes < CLIPPED).all(axis=1)] if clipped < 0.7 else linear
        colour = np.median(open_, axis=0).astype(float)
        red, blue = np.log(colour[0] / colour[1]), np.log(colour[2] / colour[1])
        if not (RED[0] < red < RED[1] and BLUE[0] < blue < BLUE[1]):
            continue
        kind = "paper" if colour[1] > PAPER_FROM else "card"
        mask = np.zeros(candidate.shape, bool)
        mask[y : y + h, x : x + w] = inside
        found.append(
            Neutral(
                kind, colour / REFLECTANCE[kind], (float(centres[i][0]), float(centres[i][1])), mask, clipped
            )
        )
    return found


def _quality(neutral: Neutral) -> float:
    """Large and not blown out; paper before card, as a grey square can be many things."""
    size = float(np.sqrt(neutral.mask.mean()))
    return size * (1 - 0.8 * neutral.clipped) * (1.0 if neutral.kind == "paper" else 0.7)
