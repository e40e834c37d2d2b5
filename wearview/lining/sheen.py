"""Neutral light that a shiny lining sends back over its own colour."""

import math

import numpy as np
from numpy.typing import NDArray

from wearview.colour import lab_to_linear, linear_to_lab
from wearview.ranks import median, middle, quantile
from wearview.reading import MIN_PIXELS
from wearview.surface import Face

# Clean linear blue over the mean of red and green, from which a lining is grey: there added light has no
# colour of its own.
GREY = 0.75
# Chosen on 257 readings of rendered plates whose own colour is known, no real ones. A lining turns greyer as
# it browns, which looks like this much added light where all the colour is gone; and a white balance off by
# this share of blue looks like some as well.
_BROWNED_LOOKS_LIKE, _BLUE_ERROR = 0.035, 0.03
# What a glaze returns, of a white sheet's light: so much for a full one on a grey lining, none for the share
# that unglazed linings read as. A polished surface of refractive index 1.5 returns 0.04 (Fresnel), a matte
# one has some of it in its own colour. On a coloured lining hue and glaze both tell, each believed in part.
# Chosen beside four other sets of values on 727 rendered plates beside a sheet: 0.813 of their levels come
# out right, with the others 0.804 to 0.808, by hue alone, on grey ones glaze alone, 0.805.
_GREY_GLAZE, _COLOURED_GLAZE, _UNGLAZED, _HUE_SHARE = 0.04, 0.02, 0.2, 0.7
_MOST = 0.8  # of a pixel's light, so that a dark pixel under a shine keeps a colour


def veil(
    linear: NDArray[np.floating], clean: NDArray[np.floating]
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Neutral light over a lining's own colour, and the share of that colour heat has taken.

    Parameters
    ----------
    linear : ndarray, shape (..., 3)
        Linear sRGB of the lining, light taken out.
    clean : ndarray, shape (3,)
        Of the clean lining.

    Returns
    -------
    veil : ndarray, shape (...)
        As a share of a white sheet's light; under 0 where there is less blue than the clean lining's hue has.
    browned : ndarray, shape (...)
        0 as clean, 1 none left.
    None for a grey lining, whose colour cannot tell.

    Notes
    -----
    Dichromatic reflection: the body's colour plus the lamp's (S. A. Shafer, Color Research and Application
    10, 210-218, 1985; from memory). Tan, brown, red and green linings return least blue, and heat lifts
    nothing. Blue is compared with the mean of red and green, since heat turns green brown.
    """
    warm, own = np.asarray(linear, float)[..., :2].mean(axis=-1), max(float(np.mean(clean[:2])), 1e-4)
    blue, ratio = np.asarray(linear, float)[..., 2], float(clean[2]) / own
    if ratio >= GREY:
        return None
    added = (blue - ratio * warm) / (1 - ratio)
    return added, 1 - np.clip((warm - added) / own, 0, 1)


def own_sheen(face: Face, clean_lab: NDArray[np.floating]) -> float:
    """How much more neutral light the shinier side of a clean face sends back than the face at large.

    The 95th percentile less the median of `veil`, as a share of a white sheet's light. Lamp and slant move
    it, so it compares only photos taken alike. NaN for a grey lining or too few pixels.
    """
    lab = face.colours
    if len(lab) < MIN_PIXELS:
        return math.nan
    over = veil(lab_to_linear(lab), lab_to_linear(np.asarray(clean_lab, float)))
    return math.nan if over is None else quantile(over[0], 0.95) - middle(over[0])


def without_sheen(
    lab: NDArray[np.float32],
    clean_lab: NDArray[np.floating],
    glaze: float | None = None,
    usual_lab: NDArray[np.floating] | None = None,
) -> NDArray[np.float32]:
    """Colours of a lining with the neutral light over it taken off, as far as it is beyond doubt.

    Parameters
    ----------
    lab : ndarray, shape (N, 3)
        CIELAB of the measured face, light taken out.
    clean_lab : ndarray, shape (3,)
        Of the clean lining.
    glaze : float or None
        Share of a full glaze that the face has, 0..1; None where it is not known.
    usual_lab : ndarray, shape (3,), or None
        Their median, where it is known.

    Notes
    -----
    Sheen is no discoloration: it hides one. One amount is taken off the whole face, since a single pixel's
    hue is too noisy to part the two: what hue shows and what the glaze returns; on a grey lining, whose
    colour cannot tell, the latter alone.
    """
    usual_lab = median(lab, 0) if usual_lab is None else usual_lab
    clean, usual = lab_to_linear(np.stack([clean_lab, usual_lab])).astype(float)
    polished = 0.0 if glaze is None else max(0.0, glaze - _UNGLAZED)
    if (over := veil(usual, clean)) is None:
        sure = _GREY_GLAZE * polished
    else:
        added, browned = (float(v) for v in over)
        doubt = _BLUE_ERROR * usual[2] / (1 - float(clean[2]) / float(np.mean(clean[:2])))
        sure = max(0.0, added - _BROWNED_LOOKS_LIKE * browned - doubt)
        if glaze is not None:
            sure = _HUE_SHARE * sure + _COLOURED_GLAZE * polished
    if sure <= 0:
        return lab
    linear = lab_to_linear(lab)
    least = np.minimum(np.minimum(linear[:, 0], linear[:, 1]), linear[:, 2])
    off = np.minimum(sure, _MOST * least)[:, None]
    return linear_to_lab(linear - off.astype(np.float32))
