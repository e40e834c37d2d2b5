"""Hand-made faces for tests of what is measured on them: flat colours on a ring, no photo and no scene."""

import math
from collections.abc import Sequence

import cv2
import numpy as np
from colour import CCS_ILLUMINANTS, Lab_to_XYZ, XYZ_to_Lab, XYZ_to_sRGB, sRGB_to_XYZ
from numpy.typing import NDArray

from wearview.reference import Reference
from wearview.surface import Face
from wearview.surface.texture import Fibres

SIZE = 400
DIAMETER = 396.0
INNER = 0.72  # of the outer radius
CLEAN_GRAIN = 5.0  # per cent of L* + 16
TAN = (61.0, 8.0, 24.0)
STEEL = (72.0, 0.3, 1.9)

_y, _x = np.mgrid[:SIZE, :SIZE].astype(np.float32) - (SIZE - 1) / 2
_r = np.hypot(_x, _y) / (DIAMETER / 2)
RING: NDArray[np.bool_] = (_r > INNER) & (_r < 1)
RADIUS = ((_r - INNER) / (1 - INNER)).astype(np.float32)
ANGLE = (np.degrees(np.arctan2(_y, _x)) % 360).astype(np.float32)


def ring_face(
    lab: Sequence[float] | NDArray[np.floating] = TAN,
    *,
    mask: NDArray[np.bool_] = RING,
    grain: float = CLEAN_GRAIN,
    light: float = 0.0,
    noise: float = 0.0,
    mm_per_px: float = np.nan,
    problems: tuple[str, ...] = (),
) -> Face:
    """A plate's face of one colour, or of a map of colours (H, W, 3)."""
    colours = np.empty((SIZE, SIZE, 3), np.float32)
    colours[:] = lab
    colours[~mask] = np.nan
    return Face(
        lab=colours,
        mask=mask,
        whole=RING,
        radius=RADIUS,
        angle_deg=ANGLE,
        xy=np.zeros((SIZE, SIZE, 2), np.float32),
        diameter=DIAMETER,
        mm_per_px=mm_per_px,
        fibres=None if math.isnan(grain) else fibres(grain),
        excluded={},
        light_uncertainty=light,
        noise=noise,
        problems=problems,
    )


def fibres(grain: float) -> Fibres:
    """The texture of a lining that was `CLEAN_GRAIN` when clean; the rest as the middle of rendered plates.

    What a closed surface keeps is dark specks, and the speckle of its colour goes with the fibres.
    """
    lost = 1 - min(1.0, grain / CLEAN_GRAIN)
    level = 2 * math.log(max(grain, 0.2))
    bands = tuple(level + over for over in (1.7, 1.8, 1.85, 2.0, 2.1))
    return Fibres(grain, bands, 1.65, 0.01 - 0.1 * lost, 2.7, -3.2 - 0.4 * lost, 5.9)


def painted(
    ground: Sequence[float], *patches: tuple[NDArray[np.bool_], Sequence[float]], blur: float = 1.0
) -> NDArray[np.float32]:
    """A map (H, W, 3) of `ground` with patches painted on, edges softened as the averaging disc does."""
    lab = np.empty((SIZE, SIZE, 3), np.float32)
    lab[:] = ground
    for where, colour in patches:
        lab[where] = colour
    return np.asarray(cv2.GaussianBlur(lab, (0, 0), blur)) if blur else lab


def veiled(lab: Sequence[float], added: float, left: float = 1.0) -> NDArray[np.float64]:
    """The Lab of a surface that returns `left` of its light and `added` neutral light, of a white sheet's."""
    white = CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    body = XYZ_to_sRGB(Lab_to_XYZ(lab, white), apply_cctf_encoding=False)
    return np.asarray(XYZ_to_Lab(sRGB_to_XYZ(left * body + added, apply_cctf_decoding=False), white))


def disc(angle_deg: float, diameter: float, radius: float = 0.5) -> NDArray[np.bool_]:
    """A round patch on the face, `diameter` in grid pixels, at `radius` 0..1 across the face."""
    r = (INNER + (1 - INNER) * radius) * DIAMETER / 2
    t = np.radians(angle_deg)
    return np.asarray(np.hypot(_x - r * np.cos(t), _y - r * np.sin(t)) < diameter / 2)


def clean_lining(
    lab: Sequence[float] = TAN,
    *,
    source: str = "photo",
    grain: float = CLEAN_GRAIN,
    spread: float = 0.0,
    light: float = 0.0,
) -> Reference:
    """A clean reference of one colour."""
    return Reference(source, None, None, np.array(lab, float), spread, grain, None, light)
