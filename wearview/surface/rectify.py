"""A part's face rectified to a grid, with the light taken out and nothing else decided."""

import math
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import linear_to_lab
from wearview.light import Light
from wearview.parts import Part
from wearview.photo import Photo
from wearview.pieces import pieces
from wearview.ranks import median, middle

GRID = 400  # pixels of the outer diameter on the grid: the contract's disc is then 2.7 pixels wide
DISC = 1 / 150  # of the outer diameter, the contract's averaging disc without a scale
BAND_WIDTH = 80  # grid pixels across a band; its disc is 1/40 of the width
BAND_DIAMETERS = 8  # a band's marks are as fine as those of a plate eight times as wide as the band
RIM_MARGIN = 0.012  # of the outer radius, left out at both rims: pixels there are mixed with the edge
CLIPPED = 250


@dataclass(frozen=True, slots=True, eq=False)
class Rectified:
    """A face on its grid. A plate is rectified to a circle, directions kept; a band is straightened along x.

    Attributes
    ----------
    lab : ndarray, shape (H, W, 3), float32
        CIELAB, D65, 2 degrees, light taken out; every grid pixel, on the face or not.
    clipped : ndarray of bool, shape (H, W)
        Where a channel of the photo is blown out.
    whole : ndarray of bool, shape (H, W)
        The visible face.
    radius, angle_deg, xy
        As in `Face`.
    diameter : float
        Grid pixels of the outer diameter; of a band its length.
    disc : float
        Diameter of the averaging disc in grid pixels: 1 mm, or its share of the part without a scale.
    metal_lab : ndarray, shape (3,)
        Median Lab of the part's bare steel beside the face; NaN where none is seen.
    marks : dict of str to ndarray of bool, shape (H, W)
        "groove" and "ink", see `find_marks`.
    mm_per_px : float
        Millimetres per grid pixel; NaN when the scale is unknown.
    """

    lab: NDArray[np.float32]
    clipped: NDArray[np.bool_]
    whole: NDArray[np.bool_]
    radius: NDArray[np.float32]
    angle_deg: NDArray[np.float32]
    xy: NDArray[np.float32]
    diameter: float
    disc: float
    metal_lab: NDArray[np.float64]
    marks: dict[str, NDArray[np.bool_]]
    mm_per_px: float = math.nan


def rectify(photo: Photo, part: Part, light: Light, mm_per_px: float = math.nan) -> Rectified:
    """A part's face on its grid, light taken out.

    Parameters
    ----------
    photo : Photo
    part : Part
    light : Light
        Of the photo; its white may have been matched to the reference photo's.
    mm_per_px : float
        Millimetres per full-size pixel at the part; NaN when the scale is unknown.
    """
    xy, radius, angle, inside = _plate_grid(part) if part.outer is not None else _band_grid(part)
    spacing = _spacing(xy)
    codes = _sample(photo.rgb8, photo.at(xy), spacing / photo.step)
    plate = part.outer is not None
    mm = mm_per_px * spacing
    unscaled = DISC * GRID if plate else BAND_WIDTH / 40
    lab, whole = _lit(codes, xy, photo, light), inside & _sample_mask(part, xy)
    return Rectified(
        lab=lab,
        clipped=np.maximum(np.maximum(codes[..., 0], codes[..., 1]), codes[..., 2]) >= CLIPPED,
        whole=whole,
        radius=radius,
        angle_deg=angle,
        xy=xy,
        diameter=float(GRID if plate else inside.shape[1]),
        disc=unscaled if math.isnan(mm) else 1 / mm,
        mm_per_px=mm,
        metal_lab=_metal_lab(photo, part, light),
        marks=find_marks(lab[..., 0], whole, float(GRID if plate else BAND_DIAMETERS * BAND_WIDTH)),
    )


def _lit(
    codes: NDArray[np.uint8], xy: NDArray[np.float32], photo: Photo, light: Light
) -> NDArray[np.float32]:
    """Lab of sampled codes with the light at each place taken out."""
    x, y = (
        along * np.float32(2 / (side - 1)) - 1
        for along, side in zip(cv2.split(xy), (photo.width, photo.height), strict=True)
    )
    return linear_to_lab(np.clip(light.relative(codes, x, y), 0, 4))


def _metal_lab(photo: Photo, part: Part, light: Light) -> NDArray[np.float64]:
    inside = cv2.erode(part.metal_mask.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0).astype(
        bool
    )
    if np.count_nonzero(inside) < 20:
        return np.full(3, np.nan)
    rows, columns = np.nonzero(inside)
    codes = photo.working[rows + part.origin[1], columns + part.origin[0]][None]
    xy = ((np.stack([columns, rows], axis=-1) + np.array(part.origin) + 0.5) * part.scale - 0.5)[None]
    return np.asarray(median(_lit(codes, xy.astype(np.float32), photo, light)[0], 0), float)


def _plate_grid(
    part: Part,
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32], NDArray[np.bool_]]:
    """Photo positions of a plate's grid, radius 0..1 across the face, angle, and which pixels lie on the
    face."""
    assert part.outer is not None
    assert part.inner is not None
    rho, cos, sin, angle = _unit_grid()
    ratio = math.sqrt(part.inner.major * part.inner.minor / (part.outer.major * part.outer.minor))
    t = np.clip((rho - np.float32(ratio)) / np.float32(1 - ratio), -0.2, 1.2)
    inner, outer = (
        np.vstack([rim.axes, [rim.cx, rim.cy]]).astype(np.float32) for rim in (part.inner, part.outer)
    )
    xy = np.empty((*rho.shape, 2), np.float32)
    for k in range(2):
        at_inner, at_outer = (cos * rim[0, k] + sin * rim[1, k] + rim[2, k] for rim in (inner, outer))
        xy[..., k] = at_inner + (at_outer - at_inner) * t
    inside = (rho < 1 - RIM_MARGIN) & (rho > ratio + RIM_MARGIN)
    return xy, np.clip(t, 0, 1), angle, inside


@cache
def _unit_grid() -> tuple[NDArray[np.float32], ...]:
    """The same for every plate, shape (H, W): radius over the outer rim's, cosine, sine and degrees of the
    angle."""
    size = round(GRID * 1.03)
    assert size % 2 == 0  # no pixel in the very middle, which has no angle
    step = (np.arange(size) - (size - 1) / 2) / (GRID / 2)
    u, v = np.meshgrid(step, step)
    rho = np.hypot(u, v)
    grid = tuple(
        plane.astype(np.float32) for plane in (rho, u / rho, v / rho, np.degrees(np.arctan2(v, u)) % 360)
    )
    for plane in grid:
        plane.flags.writeable = False
    return grid


def _band_grid(
    part: Part,
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32], NDArray[np.bool_]]:
    """Photo positions of a straightened band, across 0..1, along 0..360, and which pixels lie on the
    lining."""
    assert part.spine is not None
    spine = part.spine
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(spine, axis=0).T))])
    length = max(BAND_WIDTH, round(along[-1] / part.width * BAND_WIDTH))
    at = (np.arange(length) + 0.5) / length * along[-1]
    middle = np.stack([np.interp(at, along, spine[:, k]) for k in (0, 1)], axis=-1)
    ahead = np.gradient(middle, axis=0)
    ahead /= np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-9)[:, None]
    across = np.stack([-ahead[:, 1], ahead[:, 0]], axis=-1)
    offset = (np.arange(BAND_WIDTH) + 0.5) / BAND_WIDTH - 0.5
    xy = (middle[None] + offset[:, None, None] * part.width * across[None]).astype(np.float32)
    radius = np.broadcast_to((offset + 0.5)[:, None], xy.shape[:2]).astype(np.float32)
    angle = np.broadcast_to((at / along[-1] * 360)[None], xy.shape[:2]).astype(np.float32)
    inside = np.ones(xy.shape[:2], bool)
    inside[:2] = inside[-2:] = False
    inside[:, :2] = inside[:, -2:] = False
    return xy, radius, angle, inside


def _spacing(xy: NDArray[np.float32]) -> float:
    """Full-size pixels per grid pixel, the geometric mean of both directions in the middle of the grid's
    rows."""
    x, y = cv2.split(xy)
    along, down = (cv2.magnitude(np.diff(x, axis=axis), np.diff(y, axis=axis)) for axis in (1, 0))
    return math.sqrt(max(1e-6, middle(along) * middle(down)))


def _sample(rgb8: NDArray[np.uint8], xy: NDArray[np.float32], spacing: float) -> NDArray[np.uint8]:
    """Colours at the grid's places; averaged over a grid pixel where the photo is finer than the grid."""
    x, y = cv2.split(xy)
    x0, y0 = (max(0, math.floor(along.min()) - 2) for along in (x, y))
    x1, y1 = (math.ceil(along.max()) + 3 for along in (x, y))
    crop = rgb8[y0:y1, x0:x1]
    if crop.size == 0:
        return np.zeros((*xy.shape[:2], 3), np.uint8)
    factor = 1.0
    if spacing > 1.3:
        factor = 1 / spacing
        size = max(1, round(crop.shape[1] * factor)), max(1, round(crop.shape[0] * factor))
        factor_x, factor_y = size[0] / crop.shape[1], size[1] / crop.shape[0]
        crop = cv2.resize(crop, size, interpolation=cv2.INTER_AREA)
    else:
        factor_x = factor_y = 1.0
    at_x, at_y = (
        (along - np.float32(first - 0.5)) * np.float32(factor) - np.float32(0.5)
        for along, first, factor in ((x, x0, factor_x), (y, y0, factor_y))
    )
    return np.asarray(cv2.remap(crop, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _sample_mask(part: Part, xy: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Whether each grid pixel shows the part's face, by its working-copy mask."""
    scale = np.float32(1 / part.scale)
    x, y = (
        along * scale + np.float32(0.5 / part.scale - 0.5 - first)
        for along, first in zip(cv2.split(xy), part.origin, strict=True)
    )
    shown = cv2.remap(part.face_mask.astype(np.float32), x, y, cv2.INTER_LINEAR, borderValue=0)
    return np.asarray(shown > 0.5)


def find_marks(
    lightness: NDArray[np.float32], whole: NDArray[np.bool_], diameter: float
) -> dict[str, NDArray[np.bool_]]:
    """Grooves, gaps and printed ink: thin marks darker or lighter than the lining on both their sides.

    Heat has no thin straight parts: a mark counts when it is narrower than 1/45 of the diameter (3 mm) and
    longer than three times that. Grooves leave the face at its rims, print does not; both are left out all
    the same.
    """
    width = max(5, round(diameter / 45)) | 1
    filled, at = lightness.copy(), np.flatnonzero(whole)
    filled[~whole] = middle(lightness.ravel().take(at)) if len(at) else 0
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))
    smooth = cv2.GaussianBlur(filled, (0, 0), 0.8)
    dark = cv2.morphologyEx(smooth, cv2.MORPH_CLOSE, kernel) - smooth
    light = smooth - cv2.morphologyEx(smooth, cv2.MORPH_OPEN, kernel)
    found = {}
    for name, height in (("groove", dark), ("ink", light)):
        usual = middle(height.ravel().take(at)) if len(at) else 0.0
        strong = (height > max(3.5, 3.2 * usual)) & whole
        label, stats = pieces(strong)
        long_ = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) > 0.6 * width
        long_ &= stats[:, cv2.CC_STAT_AREA] > 0.5 * width
        long_[0] = False
        kept = long_.view(np.uint8).take(label)
        found[name] = cv2.dilate(kept, np.ones((3, 3), np.uint8)).astype(bool) & whole
    return found
