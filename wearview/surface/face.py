"""`Face`: the measured surface of a part on a regular grid, and how it is taken from a photo."""

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.light import Light
from wearview.parts import Part
from wearview.photo import Photo
from wearview.ranks import median, middle
from wearview.surface.rectify import Rectified
from wearview.surface.texture import Fibres, read_fibres
from wearview.terms import LINED_KINDS

MUCH_GLARE = 0.15  # of the visible face, from which it is said
NOISE = 0.15  # Delta E of a pixel averaged over the disc; measured on flat sheets of rendered photos


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """A part's measured surface on a regular grid.

    A plate is rectified to a circle on a square grid, directions kept; a band is straightened, its length
    along x.

    Attributes
    ----------
    lab : ndarray, shape (H, W, 3), float32
        CIELAB, D65, 2 degrees, light taken out, already averaged over the contract's disc (1 mm, or 1/150 of
        the outer diameter, or 1/40 of a band's width). NaN where not measured.
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
    fibres : Fibres or None
        Of a lining; None where they are not resolved.
    excluded : dict of str to float
        Fraction of the visible face left out, by reason: "glare", "groove", "ink", "dirt", "shadow edge".
    light_uncertainty : float
        Half width of the 90 % interval of the light's share in the Delta E.
    noise : float
        Standard error of the averaged Lab in Delta E from sensor noise.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    metal_lab : ndarray, shape (3,), or None
        Median Lab of the part's bare steel beside the face, teeth and core; None where none is seen.
    light_shared : bool
        As `Light.shared`.
    seen : ndarray of bool, shape (H, W)
        Measured pixels whose colour is known.
    colours : ndarray, shape (N, 3), float32
        Lab of the pixels `seen`, row by row.
    usual : ndarray, shape (3,), float32
        Median of `colours`; NaN where there are none.
    """

    lab: NDArray[np.float32]
    mask: NDArray[np.bool_]
    whole: NDArray[np.bool_]
    radius: NDArray[np.float32]
    angle_deg: NDArray[np.float32]
    xy: NDArray[np.float32]
    diameter: float
    mm_per_px: float
    fibres: Fibres | None
    excluded: dict[str, float]
    light_uncertainty: float
    noise: float
    problems: tuple[str, ...] = ()
    metal_lab: NDArray[np.float64] | None = None
    light_shared: bool = False
    seen: NDArray[np.bool_] = field(init=False)
    colours: NDArray[np.float32] = field(init=False)
    usual: NDArray[np.float32] = field(init=False)

    def __post_init__(self) -> None:
        # Once: every reading asks for them.
        known = self.mask & np.isfinite(self.lab[..., 0] + self.lab[..., 1] + self.lab[..., 2])
        colours = np.take(self.lab.reshape(-1, 3), np.flatnonzero(known), axis=0)
        usual = median(colours, 0) if len(colours) else np.full(3, np.nan, np.float32)
        for name, value in (("seen", known), ("colours", colours), ("usual", usual)):
            value.flags.writeable = False
            object.__setattr__(self, name, value)

    @property
    def grain(self) -> float:
        """Contrast of the fibre texture in per cent, as of `Fibres`; NaN where it is not resolved."""
        return math.nan if self.fibres is None else self.fibres.grain


def take_face(photo: Photo, rectified: Rectified, part: Part, light: Light) -> Face:
    """The face of a part, with what hides or marks it left out by what kind of surface it is.

    Parameters
    ----------
    photo : Photo
    rectified : Rectified
        Of this part in this photo.
    part : Part
        Its kind decides: grooves, print and sheen are left out of a lining, not of a steel.
    light : Light
        Of the photo.

    Returns
    -------
    Face
    """
    whole, lab = rectified.whole, rectified.lab
    lined = part.kind in LINED_KINDS
    left_out = {
        "glare": cv2.dilate(rectified.clipped.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    }
    if lined:
        left_out |= rectified.marks
        left_out["glare"] |= _shine(lab, whole)
    mask = cv2.erode(whole.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0).astype(bool)
    for what in left_out.values():
        mask &= ~what
    visible = max(1, int(np.count_nonzero(whole)))
    excluded = {name: int(np.count_nonzero(what & whole)) / visible for name, what in left_out.items()}
    at = np.flatnonzero(whole)
    centre = [along.ravel().take(at).mean() for along in cv2.split(rectified.xy)] if len(at) else (0.0, 0.0)
    shown = np.take(lab.reshape(-1, 3), np.flatnonzero(mask), axis=0)
    usual = median(shown, 0) if len(shown) else np.array([50.0, 0, 0])
    problems = list(part.problems)
    if excluded["glare"] > MUCH_GLARE:
        problems.append("glare")
    return Face(
        lab=_disc_mean(lab, mask, rectified.disc),
        mask=mask,
        whole=whole,
        radius=rectified.radius,
        angle_deg=rectified.angle_deg,
        xy=rectified.xy,
        diameter=rectified.diameter,
        mm_per_px=rectified.mm_per_px,
        fibres=read_fibres(photo, part, rectified.xy, mask) if lined else None,
        excluded=excluded,
        light_uncertainty=light.uncertainty(
            usual, 2 * centre[0] / (photo.width - 1) - 1, 2 * centre[1] / (photo.height - 1) - 1
        ),
        noise=NOISE,
        problems=tuple(problems),
        metal_lab=rectified.metal_lab if np.isfinite(rectified.metal_lab).all() else None,
        light_shared=light.shared,
    )


def _shine(lab: NDArray[np.float32], whole: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Sheen on a lining: brighter than its surroundings and greyer than the lining, as only added light
    is."""
    out = np.zeros(whole.shape, bool)
    if np.count_nonzero(whole) < 200:
        return out
    chroma = np.sqrt(lab[..., 1] ** 2 + lab[..., 2] ** 2)
    at = np.flatnonzero(whole)
    usual_l, usual_c = (middle(values.ravel().take(at)) for values in (lab[..., 0], chroma))
    return np.asarray(whole & (lab[..., 0] > usual_l + 22) & (chroma < 0.6 * usual_c + 1))


def _disc_mean(lab: NDArray[np.float32], mask: NDArray[np.bool_], disc: float) -> NDArray[np.float32]:
    """Lab averaged over a disc of this diameter in pixels, measured pixels only; NaN off the mask.

    A Gaussian of the disc's own second moment (diameter / 4) stands for the disc, whose edge would alias at
    2.7 pixels.
    """
    weight, shown = mask.astype(np.float32), cv2.copyTo(lab, mask.astype(np.uint8))
    sigma = max(0.3, disc / 4)
    total = cv2.GaussianBlur(shown, (0, 0), sigma)
    share = cv2.GaussianBlur(weight, (0, 0), sigma)
    share = np.where(mask, np.maximum(share, 1e-6), np.float32(np.nan))
    return np.asarray(cv2.divide(total, cv2.merge([share] * 3)), np.float32)
