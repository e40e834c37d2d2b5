"""The face of a part, rectified and with the light taken out: what the measurements look at."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


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
    diameter: float
    mm_per_px: float
    grain: float
    sheen: float
    excluded: dict[str, float]
    light_uncertainty: float
    noise: float
    problems: tuple[str, ...] = ()
