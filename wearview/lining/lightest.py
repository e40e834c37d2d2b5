"""A photo whose light was read wrong, told by its lightest lining."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearview.light import Light, of_other_sheet
from wearview.lining.sheen import without_sheen
from wearview.ranks import median
from wearview.reading import MIN_PIXELS
from wearview.reference import Reference
from wearview.surface import Face

# L*: how much lighter than clean a face's median may be without doubt, sheen left on it.
AS_LIGHT_AS_CLEAN = 2.0
# What light may be blamed for: no more than this many times its own uncertainty, and not for another hue. Of
# 22 rendered photos with a plate this light, 21 were read too bright and lie within both; in the other one
# light was not the reason.
_MOST, _OTHER_HUE = 2.5, 4.0
# Natural log of the light over clean lining's that no plate returns, whatever the light is off by; Delta E of
# hue beyond which it is another lining; and of the clean lining's light up to which it can tell.
_IMPOSSIBLE, _SHEET_HUE, _KNOWN_CLEAN = 0.7, 12.0, 12.0
# Log odds from which a sheet is what it looks like whatever the linings say: of 311 rendered photos with one
# in view, nine wrong kinds lie under 7.1, and four right ones whose lining comes out that light, all near
# black, over 9.2.
_SURE_SHEET = 8.0


def read_too_bright(faces: Sequence[Face], reference: Reference) -> float:
    """By how much a photo's light was read too bright, natural log; 0 where nothing shows it.

    Parameters
    ----------
    faces : sequence of Face
        The linings of one photo that are compared with the reference.
    reference : Reference

    Notes
    -----
    Heat darkens a lining and nothing lightens it (common practice, no source). So where the lightest plate
    comes out lighter than clean, its sheen taken off, the light is what is off, and it is off for all plates
    of the photo. A plate that differs in hue as well is of another lining: that says nothing of the light.
    The cleanest part as reference cannot be outdone in its own photo.
    """
    if reference.lab_median is None or reference.relative:
        return 0.0
    clean = np.asarray(reference.lab_median, dtype=np.float64)
    return max((_too_bright(face, clean) for face in faces), default=0.0)


def settle_sheet(light: Light, faces: Sequence[Face], reference: Reference) -> Light:
    """The light with the kind of the sheet that white was read from settled by the linings, where they can.

    Parameters
    ----------
    light : Light
        Of a photo.
    faces : sequence of Face
        The photo's linings, taken in that light.
    reference : Reference
        What they are compared with.

    Notes
    -----
    A card taken for paper makes every part 4.8 times as bright. No lining is so much lighter than its clean
    one (as in `read_too_bright`): where the lightest would be, the sheet is of the other kind.
    """
    if not math.isfinite(light.sheet_odds) or reference.lab_median is None:
        return light
    if reference.light_uncertainty > _KNOWN_CLEAN:
        return light
    clean = np.asarray(reference.lab_median, dtype=np.float64)
    lightest = max((_over_clean(face, clean) for face in faces), default=-math.inf)
    other = of_other_sheet(light)
    as_other = lightest + math.log(light.white.sum() / other.white.sum())
    if lightest < _IMPOSSIBLE < as_other:
        return replace(light, sheet_odds=math.inf)
    if as_other < _IMPOSSIBLE < lightest and light.sheet_odds < _SURE_SHEET:
        return replace(other, sheet_odds=math.inf)
    return light


def dimmed(lab: NDArray[np.float32], too_bright: float) -> NDArray[np.float32]:
    """Colours, shape (N, 3), under a light that is this log factor brighter than it was read.

    CIELAB above its linear part: L* + 16, a* and b* go with the cube root of light (CIE 015:2018).
    """
    if too_bright == 0:
        return lab
    offset = np.array([16, 0, 0], np.float32)
    return (lab + offset) * np.float32(math.exp(-too_bright / 3)) - offset


def _without_sheen(face: Face, clean: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median colour of a face, its sheen taken off."""
    bare = without_sheen(face.colours, clean, usual_lab=face.usual)
    return (face.usual if bare is face.colours else median(bare, 0)).astype(float)


def _over_clean(face: Face, clean: NDArray[np.float64]) -> float:
    """How much more light than clean lining a face returns, natural log; -inf where it is of another hue."""
    if len(face.colours) < MIN_PIXELS:
        return -math.inf
    lab = _without_sheen(face, clean)
    factor = (lab[0] + 16) / (clean[0] + 16)
    if math.hypot(*(lab[1:] / factor - clean[1:])) > _SHEET_HUE:
        return -math.inf
    return 3 * math.log(factor)


def _too_bright(face: Face, clean: NDArray[np.float64]) -> float:
    if len(face.colours) < MIN_PIXELS:
        return 0.0
    lab = _without_sheen(face, clean)
    lighter = float(lab[0] - clean[0])
    if not AS_LIGHT_AS_CLEAN < lighter <= _MOST * face.light_uncertainty:
        return 0.0
    root = float(clean[0] + 16)
    hue_off = math.hypot(*(lab[1:] * root / (lab[0] + 16) - clean[1:]))
    if hue_off > max(_OTHER_HUE, face.light_uncertainty):
        return 0.0
    return 3 * math.log((lab[0] + 16) / (root + AS_LIGHT_AS_CLEAN))
