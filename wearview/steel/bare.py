"""Bare metal of one plate: the colour that heat tint is counted from."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.ranks import middle, quantile
from wearview.reading import MIN_PIXELS
from wearview.settings import Tints
from wearview.spread import SIGMAS_90

# Half width of the 90 % interval, in Delta E, of what seems bare metal on a plate against truly bare
# metal: a breath of oxide, oil in the grinding marks, two lamps of unlike colour. Estimate, not
# measured on real plates.
_BARE_TONE = 2.0
# Bare metal counts as found from this share of the face.
_BARE_SHARE = 0.02
# How far from neutral it is looked for: beyond the 90 % interval of the light, in Delta E at least and
# at most; on the blue side, where bright metal can only be bare, further.
_SEARCH_BEYOND, _SEARCH = 1.5, (3.0, 7.0)
_BLUE_BEYOND, _BLUE_SEARCH = 2.5, 14.0
# Of the L* of a plate's lightest twentieth, and no darker than its teeth: blue oxide has at most 1/1.7 of
# bare metal's L* (computed film).
_BRIGHT = 0.8
# From this half width on in Delta E the light was read from bare steel or not at all; such an interval is of
# little worth, so that the plate itself says more. The factors were chosen on 153 tuned steels.
_WEAK_LIGHT = 5.0
_TRUST, _WEAK_TRUST = 1.2, 4.0
# Teeth stain, so that they are no bluer than bare metal: where only steel could tell the light, bare metal
# is at most this much yellower than they are.
_ABOVE_TEETH = 1.0


@dataclass(frozen=True, slots=True)
class Bare:
    """Bare metal of one plate.

    Attributes
    ----------
    lab : tuple of float
        Its colour: what the lamp's cast leaves on it.
    found : bool
        Whether it was found on the plate, or is only assumed.
    uncertainty : float
        Half width of the 90 % interval in Delta E.
    weak_light : bool
        Whether the light is so little known that a light blue may be its cast.
    """

    lab: tuple[float, float, float]
    found: bool
    uncertainty: float
    weak_light: bool = False


def find_bare(
    lab: NDArray[np.float32],
    clean_lab: NDArray[np.float64] | None,
    light: float,
    tints: Tints,
    teeth: NDArray[np.float64] | None = None,
) -> Bare:
    """Colour of the plate's bare metal: what is left of the lamp's colour on it.

    Parameters
    ----------
    lab : ndarray, shape (n, 3)
        Measured face pixels.
    clean_lab : ndarray, shape (3,), or None
        A clean steel's colour.
    light : float
        Uncertainty of the light in Delta E: how far from neutral the bare metal may lie.
    tints : Tints
    teeth : ndarray, shape (3,), or None
        Lab of the plate's teeth, where they are seen.

    Notes
    -----
    The most frequent colour near neutral, weighed by how likely such an error of the light is. A plate
    tinted all over by less than that error looks bare: colour alone cannot tell it from a lamp's cast.
    """
    prior = np.array(tints.bare_ab) if clean_lab is None else clean_lab[1:]
    known = light if math.isfinite(light) else _SEARCH[1]
    off = lab[:, 1:] - prior.astype(np.float32)
    weak = known >= _WEAK_LIGHT
    yellowest = (
        max(0.0, float(teeth[2] - prior[1])) + _ABOVE_TEETH if weak and teeth is not None else math.inf
    )
    darkest = 0.0 if teeth is None else float(teeth[0])
    group = _neutral_group(off, lab[:, 0], known, yellowest, darkest)
    if np.count_nonzero(group) < max(MIN_PIXELS, _BARE_SHARE * len(lab)):
        # No bare metal in view: heat darkens, so the lightest of the face is the best guess of its lightness.
        lightness = quantile(lab[:, 0], 0.95) if clean_lab is None else float(clean_lab[0])
        return Bare((lightness, float(prior[0]), float(prior[1])), False, light, weak)

    own = np.array([middle(off[group, 0]), min(middle(off[group, 1]), _yellow_free(off[group]))])
    # Two witnesses of the bare colour, the light's own estimate and this metal, joined by inverse
    # variances; where they disagree by more than their intervals allow, the result's interval grows
    # with it (R. T. Birge, 1932; from memory).
    both = math.hypot(known, _BARE_TONE)
    a, b = prior + own * (known / both) ** 2
    disagreement = max(1.0, float(np.hypot(*own)) / both)
    lightness = middle(lab[group, 0])
    tinted = lab[~group, 0]
    if len(tinted) >= _BARE_SHARE * len(lab):
        # Every oxide is darker than bare metal: a neutral darker than the tints round it is oxide itself.
        lightness = max(lightness, quantile(tinted, 0.9))
    return Bare((lightness, float(a), float(b)), True, disagreement * known * _BARE_TONE / both, weak)


def _neutral_group(
    off: NDArray[np.float32],
    lightness: NDArray[np.float32],
    light: float,
    yellowest: float,
    darkest: float,
) -> NDArray[np.bool_]:
    """Pixels round the most frequent a*, b* near neutral; `off` (n, 2) counts from where it should be.

    Bare metal has at most the b* `yellowest`, and where it looks blue at least the L* `darkest`.
    """
    reach = float(np.clip(_SEARCH_BEYOND * light, *_SEARCH))
    furthest = max(reach, min(_BLUE_SEARCH, _BLUE_BEYOND * light))
    a, b, away = off[:, 0], off[:, 1], np.hypot(off[:, 0], off[:, 1])
    bright = lightness > max(darkest, _BRIGHT * quantile(lightness, 0.95))
    blue_cast = bright & (away <= furthest) & (b < 0) & (np.abs(a) < 2 - 0.3 * b)
    near = ((away <= reach) | blue_cast) & (b <= yellowest)
    edges = np.linspace(-furthest, furthest, 4 * math.ceil(furthest) + 1)
    centres = (edges[:-1] + edges[1:]) / 2
    counts = np.histogram2d(a[near], b[near], bins=(edges, edges))[0]
    width = max((_WEAK_TRUST if light >= _WEAK_LIGHT else _TRUST) * light, _BARE_TONE)
    likely = np.exp(-((centres * SIGMAS_90 / width) ** 2) / 2)
    score = cv2.GaussianBlur(counts, (0, 0), 1.5) * np.outer(likely, likely)
    row, column = np.unravel_index(int(score.argmax()), score.shape)
    return np.asarray(np.hypot(a - centres[row], b - centres[column]) <= _BARE_TONE)


def _yellow_free(group: NDArray[np.float32]) -> float:
    """b* of the metal under a breath of straw.

    Straw too pale to count lifts b* and leaves a*. So the spread of a* says how far down from the
    middle the lower quarter of b* would lie without it.
    """
    low_a, high_a = (quantile(group[:, 0], share) for share in (0.25, 0.75))
    return quantile(group[:, 1], 0.25) + (high_a - low_a) / 2
