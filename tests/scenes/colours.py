"""Colour conversions for test scenes, all by colour-science: CIELAB, D65, 2 degree observer.

The program under test converts with another library, so a mistake in one shows against the other.
"""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import ArrayLike, NDArray

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # colour-science warns on import that plotting is not installed
    import colour

_WHITE = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
_TO_XYZ = np.asarray(colour.models.RGB_COLOURSPACE_sRGB.matrix_RGB_to_XYZ, np.float64)
_TO_RGB = np.linalg.inv(_TO_XYZ)


def linear_srgb_to_lab(rgb: ArrayLike) -> NDArray[np.float64]:
    """Lab of linear sRGB reflectances (..., 3) in 0..1."""
    return np.asarray(colour.XYZ_to_Lab(np.asarray(rgb, np.float64) @ _TO_XYZ.T, _WHITE))


def lab_to_linear_srgb(lab: ArrayLike) -> NDArray[np.float64]:
    """Linear sRGB (..., 3) of Lab, clipped to 0..1."""
    return np.clip(np.asarray(colour.Lab_to_XYZ(np.asarray(lab, np.float64), _WHITE)) @ _TO_RGB.T, 0, 1)


def linear_srgb_to_srgb8(rgb: ArrayLike) -> NDArray[np.uint8]:
    """8-bit sRGB codes of linear sRGB (..., 3)."""
    encoded = colour.models.eotf_inverse_sRGB(np.clip(np.asarray(rgb, np.float64), 0, 1))
    return np.round(encoded * 255).astype(np.uint8)


def delta_e00(lab: ArrayLike, clean: ArrayLike) -> NDArray[np.float64]:
    """CIEDE2000 between Lab arrays (..., 3) that broadcast."""
    return np.asarray(colour.difference.delta_E_CIE2000(np.asarray(lab, float), np.asarray(clean, float)))
