"""`Face`: the measured surface of a part on a regular grid, and how it is taken from a photo."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import linear_to_lab, srgb_to_linear
from wearview.light import Light
from wearview.parts import Part
from wearview.photo import Photo
from wearview.surface.texture import read_texture
from wearview.terms import LINED_KINDS

GRID = 400  # pixels of the outer diameter on the grid: the contract's disc is then 2.7 pixels wide
DISC = 1 / 150  # of the outer diameter, the contract's averaging disc without a scale
BAND_WIDTH = 80  # grid pixels across a band; its disc is 1/40 of the width
RIM_MARGIN = 0.012  # of the outer radius, left out at both rims: pixels there are mixed with the edge
CLIPPED = 250
MIN_GRAIN_DIAMETER = (
    330  # full-size pixels of the outer diameter under which 0.5 mm of fibre is less than two pixels
)


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """A part's measured surface on a regular grid.

    A plate is rectified to a circle on a square grid, directions kept; a band is straightened, its length along x.

    Attributes
    ----------
    lab : ndarray, shape (H, W, 3), float32
        CIELAB, D65, 2 degrees, light taken out, already averaged over the contract's disc (1 mm, or 1/150 of the outer
        diameter, or 1/40 of a band's width). NaN where not measured.
    mask : ndarray of bool, shape (H, W)
        Measured face pixels: grooves, ink, glare, dirt, teeth, and whatever covers the face left out.
    whole : ndarray of bool, shape (H, W)
        The whole visible face, exclusions included.
    radius : ndarray, shape (H, W), float32
        0 at the inner edge, 1 at the outer edge. For a band 0 at its upper or left edge, 1 at the other.
    angle_deg : ndarray, shape (H, W), float32
        [0, 360), clockwise on screen from the photo's +x. For a band 360 times the fraction of its length.
    xy : ndarray, shape (H, W, 2), float32
        Where each grid pixel lies in the photo.
    diameter : float
        Outer diameter in grid pixels; for a band its length in grid pixels.
    mm_per_px : float
        Millimetres per grid pixel; NaN when the scale is unknown.
    grain : float
        Contrast of the fibre texture: robust rms of band-passed L* over measured pixels at full size, noise taken off.
        NaN where the grain is not resolved.
    sheen : float
        Share of light returned as sheen: robust 95th minus 50th percentile of L* over the face at grain scale and the
        broad highlight, in L*. NaN where not measurable.
    excluded : dict of str to float
        Fraction of the visible face left out, by reason: "glare", "groove", "ink", "dirt", "shadow edge".
    light_uncertainty : float
        Half width of the 90 % interval of the light's share in the Delta E.
    noise : float
        Standard error of the averaged Lab in Delta E from sensor noise.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    """

    lab: NDArray[np.float32]
    mask: NDArray[np.bool_]
    whole: NDArray[np.bool_]
    radius: NDArray[np.float32]
    angle_deg: NDArray[np.float32]
    xy: NDArray[np.float32]
    diameter: float
    mm_per_px: float
    grain: float
    sheen: float
    excluded: dict[str, float]
    light_uncertainty: float
    noise: float
    problems: tuple[str, ...] = ()


def take_face(photo: Photo, part: Part, light: Light, mm_per_px: float = math.nan) -> Face:
    """The face of a part, rectified, light taken out.

    Parameters
    ----------
    photo : Photo
    part : Part
    light : Light
        Of the photo; its white may have been matched to the reference photo's.
    mm_per_px : float
        Full-size scale at the part; NaN when unknown.

    Returns
    -------
    Face
    """
    xy, radius, angle, inside = _plate_grid(part) if part.outer is not None else _band_grid(part)
    spacing = _spacing(xy)
    codes = _sample(photo.rgb8, xy, spacing)
    on_face = _sample_mask(part, xy)
    whole = inside & on_face
    level = light.level(2 * xy[..., 0] / (photo.width - 1) - 1, 2 * xy[..., 1] / (photo.height - 1) - 1)
    linear = srgb_to_linear(codes) / (light.white * level[..., None]).astype(np.float32)
    diameter = float(GRID if part.outer is not None else inside.shape[1])
    disc = DISC * GRID if part.outer is not None else BAND_WIDTH / 40
    lab = linear_to_lab(np.clip(linear, 0, 4))
    clipped = (codes >= CLIPPED).any(axis=2)
    edge = cv2.erode(whole.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0).astype(bool)
    lined = part.kind in LINED_KINDS
    left_out = {"glare": cv2.dilate(clipped.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)}
    if lined:
        left_out |= _marks(lab[..., 0], whole, diameter if part.outer is not None else BAND_WIDTH * 8)
        left_out["glare"] |= _shine(lab, whole)
    mask = edge.copy()
    for what in left_out.values():
        mask &= ~what
    visible = max(1, int(whole.sum()))
    excluded = {name: float((what & whole).sum() / visible) for name, what in left_out.items()}
    averaged = _disc_mean(lab, mask, disc)
    grain, sheen = read_texture(part, mask, lab) if lined else (math.nan, math.nan)
    centre = xy[whole].mean(axis=0) if whole.any() else np.zeros(2)
    median = np.median(lab[mask], axis=0) if mask.any() else np.array([50.0, 0, 0])
    problems = list(part.problems)
    if excluded["glare"] > 0.15:
        problems.append("glare")
    return Face(
        lab=averaged,
        mask=mask,
        whole=whole,
        radius=radius,
        angle_deg=angle,
        xy=xy,
        diameter=diameter,
        mm_per_px=mm_per_px * spacing,
        grain=grain,
        sheen=sheen,
        excluded=excluded,
        light_uncertainty=light.uncertainty(
            median, 2 * centre[0] / (photo.width - 1) - 1, 2 * centre[1] / (photo.height - 1) - 1
        ),
        noise=0.15,
        problems=tuple(problems),
    )


def _plate_grid(
    part: Part,
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32], NDArray[np.bool_]]:
    """Photo positions of a plate's grid, radius 0..1 across the face, angle, and which pixels lie on the face."""
    assert part.outer is not None and part.inner is not None
    size = round(GRID * 1.03)
    step = (np.arange(size, dtype=np.float32) - (size - 1) / 2) / (GRID / 2)
    u, v = np.meshgrid(step, step)
    rho = np.hypot(u, v)
    ratio = math.sqrt(part.inner.major * part.inner.minor / (part.outer.major * part.outer.minor))
    t = np.clip((rho - ratio) / (1 - ratio), -0.2, 1.2)
    with np.errstate(invalid="ignore", divide="ignore"):
        cos, sin = np.where(rho > 0, u / rho, 1), np.where(rho > 0, v / rho, 0)
    unit = np.stack([cos, sin], axis=-1)
    at_inner = unit @ part.inner.axes + [part.inner.cx, part.inner.cy]
    at_outer = unit @ part.outer.axes + [part.outer.cx, part.outer.cy]
    xy = (at_inner + (at_outer - at_inner) * t[..., None]).astype(np.float32)
    inside = (rho < 1 - RIM_MARGIN) & (rho > ratio + RIM_MARGIN)
    angle = np.degrees(np.arctan2(v, u)) % 360
    return xy, np.clip(t, 0, 1).astype(np.float32), angle.astype(np.float32), inside


def _band_grid(
    part: Part,
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32], NDArray[np.bool_]]:
    """Photo positions of a straightened band, across 0..1, along 0..360, and which pixels lie on the lining."""
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
    """Full-size pixels per grid pixel, the geometric mean of both directions in the middle of the grid's rows."""
    along = np.hypot(*np.moveaxis(np.diff(xy, axis=1), -1, 0))
    down = np.hypot(*np.moveaxis(np.diff(xy, axis=0), -1, 0))
    return float(math.sqrt(max(1e-6, float(np.median(along)) * float(np.median(down)))))


def _sample(rgb8: NDArray[np.uint8], xy: NDArray[np.float32], spacing: float) -> NDArray[np.uint8]:
    """Colours at the grid's places; averaged over a grid pixel where the photo is finer than the grid."""
    x0, y0 = np.maximum(0, np.floor(xy.reshape(-1, 2).min(axis=0)).astype(int) - 2)
    x1, y1 = np.ceil(xy.reshape(-1, 2).max(axis=0)).astype(int) + 3
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
    at = (xy - [x0, y0] + 0.5) * [factor_x, factor_y] - 0.5
    return np.asarray(
        cv2.remap(crop, at.astype(np.float32), None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    )


def _sample_mask(part: Part, xy: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Whether each grid pixel shows the part's face, by its working-copy mask."""
    at = ((xy + 0.5) / part.scale - 0.5 - np.array(part.origin)).astype(np.float32)
    shown = cv2.remap(part.face_mask.astype(np.float32), at, None, cv2.INTER_LINEAR, borderValue=0)
    return np.asarray(shown > 0.5)


def _marks(
    lightness: NDArray[np.float32], whole: NDArray[np.bool_], diameter: float
) -> dict[str, NDArray[np.bool_]]:
    """Grooves, gaps and printed ink: thin marks darker or lighter than the lining on both their sides.

    Heat has no thin straight parts: a mark counts when it is narrower than 1/45 of the diameter (3 mm) and longer than
    three times that. Grooves leave the face at its rims, print does not; both are left out all the same.
    """
    width = max(5, round(diameter / 45)) | 1
    filled = lightness.copy()
    filled[~whole] = np.median(lightness[whole]) if whole.any() else 0
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))
    smooth = cv2.GaussianBlur(filled, (0, 0), 0.8)
    dark = cv2.morphologyEx(smooth, cv2.MORPH_CLOSE, kernel) - smooth
    light = smooth - cv2.morphologyEx(smooth, cv2.MORPH_OPEN, kernel)
    found = {}
    for name, height in (("groove", dark), ("ink", light)):
        usual = float(np.median(height[whole])) if whole.any() else 0.0
        strong = (height > max(3.5, 3.2 * usual)) & whole
        count, label, stats, _ = cv2.connectedComponentsWithStats(strong.astype(np.uint8), connectivity=8)
        long_ = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) > 0.6 * width
        long_ &= stats[:, cv2.CC_STAT_AREA] > 0.5 * width
        long_[0] = False
        kept = long_[label].astype(np.uint8)
        found[name] = cv2.dilate(kept, np.ones((3, 3), np.uint8)).astype(bool) & whole
    return found


def _shine(lab: NDArray[np.float32], whole: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Sheen on a lining: brighter than its surroundings and greyer than the lining, as only added light is."""
    out = np.zeros(whole.shape, bool)
    if whole.sum() < 200:
        return out
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    usual_l, usual_c = float(np.median(lab[..., 0][whole])), float(np.median(chroma[whole]))
    return np.asarray(whole & (lab[..., 0] > usual_l + 22) & (chroma < 0.6 * usual_c + 1))


def _disc_mean(lab: NDArray[np.float32], mask: NDArray[np.bool_], disc: float) -> NDArray[np.float32]:
    """Lab averaged over a disc of this diameter in pixels, measured pixels only; NaN off the mask.

    A Gaussian of the disc's own second moment (diameter / 4) stands for the disc, whose edge would alias at 2.7 pixels.
    """
    weight = mask.astype(np.float32)
    sigma = max(0.3, disc / 4)
    total = cv2.GaussianBlur(lab * weight[..., None], (0, 0), sigma)
    share = cv2.GaussianBlur(weight, (0, 0), sigma)
    out = total / np.maximum(share, 1e-6)[..., None]
    out[~mask] = np.nan
    return np.asarray(out, np.float32)
