"""Glazing of a lining: grain lost and sheen gained against clean."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wearview.colour import lab_to_linear
from wearview.lining.sheen import veil
from wearview.reading import MIN_PIXELS, Reading, missing, seen_values
from wearview.reference import Reference
from wearview.surface import Face

_METHOD = "one photo"
# Glazing, chosen on 55 friction plates of rendered photos, no real ones; `read_glazing` says what for.
_CLEAN_SHEEN, _CHAR_LIGHT = 0.008, 0.02  # light returned, of a white sheet's
_NO_FIBRES, _NO_FIBRES_BROWNED = 0.2, 0.3  # share of the contrast's power; and more when the colour is gone
_USUAL_SHEEN = 0.4  # power of the lost grain
# Contrast that heat adds to the grain, as a share of clean, for each share of L* + 16 lost: fibres brown
# unevenly. 0.8 to 1.4 do as well.
_BURNT_GRAIN = 1.0
# Quantile of a photo's plates that stands for clean grain: not the very grainiest, which may be dust.
_GRAINIEST = 0.8
# Half widths of 90 % intervals: of the grain as a share of itself, of the added light, and of the index for
# what both do not see (patches, heat under the glaze): with it 86 in 100 of 248 plates lie inside.
_GRAIN_ERROR, _SHEEN_ERROR, _INDEX_ERROR = 0.22, 0.012, 20.0


def clean_in_photo(faces: Sequence[Face], reference: Reference) -> Reference:
    """The reference with the grain that clean lining has in one photo.

    Parameters
    ----------
    faces : sequence of Face
        The linings of one photo.
    reference : Reference
        Its grain was seen in another photo.

    Notes
    -----
    Lens, lamp and size in the picture move the grain of all plates of a photo alike. Of two or more the
    grainier ones, what heat adds taken off, are no grainier than clean lining is there: they raise the grain
    of the reference and never lower it, so that a photo of glazed plates alone stays glazed.
    """
    if reference.lab_median is None or not math.isfinite(reference.grain):
        return reference
    clean_root = float(reference.lab_median[0]) + 16
    grains = []
    for face in faces:
        lightness = seen_values(face.lab[..., 0], face.mask)
        if math.isfinite(face.grain) and lightness.size >= MIN_PIXELS:
            darker = max(0.0, clean_root / (float(np.median(lightness)) + 16) - 1)
            grains.append(face.grain / (1 + _BURNT_GRAIN * darker))
    if len(grains) < 2:
        return reference
    return replace(reference, grain=max(reference.grain, float(np.quantile(grains, _GRAINIEST))))


def read_glazing(face: Face, reference: Reference) -> Reading:
    """Glazing index of a face, 0..100.

    100 x sqrt(lost grain x gained sheen). Lost grain = 1 - what is left of the clean grain; gained sheen =
    1 - clean sheen / sheen. 0 is as clean, 100 no grain left under strong sheen. Missing with "grain not
    resolved" or "too few pixels".

    Notes
    -----
    Sheen is neutral light over the lining's own colour. It lifts blue, which tan, brown, red and green
    linings return least; heat lifts nothing. Blue is compared with the mean of red and green, since heat
    turns green brown. It is read where the face is lighter, so least burnt.

    On a grey or black lining added light has no colour of its own. There sheen is what even a clean lining
    could not return within the light's uncertainty; where that proves nothing, what usually comes with the
    grain lost, at between half and twice of it.

    Part of the contrast is no fibres (dust, mottle), a larger part on a browned lining: glaze leaves it.

    Never gloss units, which belong to a glossmeter on a flat sample (ISO 2813:2014; ASTM D523).
    """
    if reference.lab_median is None:
        return missing("index 0-100", _METHOD, "no clean reference")
    seen = face.mask & np.isfinite(face.lab).all(axis=-1)
    n = int(np.count_nonzero(seen))
    if n < MIN_PIXELS:
        return missing("index 0-100", _METHOD, "too few pixels", n_pixels=n)
    if not (math.isfinite(face.grain) and math.isfinite(reference.grain)) or reference.grain <= 0:
        return missing("index 0-100", _METHOD, "grain not resolved", n_pixels=n)
    coloured, added, browned = _added_light(
        face, face.lab[seen], reference.lab_median, reference.light_uncertainty
    )

    def index(grain: float, added: float, usual: float) -> float:
        lost, gained = lost_grain(grain, browned), gained_sheen(added)
        if not coloured:
            gained = max(gained, min(1.0, usual * lost**_USUAL_SHEEN))
        return 100 * math.sqrt(lost * gained)

    grain, more = face.grain / reference.grain, 1 + _GRAIN_ERROR
    value = index(grain, added, 1)
    by_grain = index(grain / more, added, 1) - index(grain * more, added, 1)
    by_sheen = index(grain, added + _SHEEN_ERROR, 2) - index(grain, added - _SHEEN_ERROR, 0.5)
    spread = math.hypot(by_grain / 2, by_sheen / 2, _INDEX_ERROR)
    return Reading(value, "index 0-100", _METHOD, n, spread)


def lost_grain(grain: float, browned: float) -> float:
    """Share of the fibres' contrast that is gone, 0..1, from the grain left as a share of the clean grain."""
    closed = min(0.9, _NO_FIBRES + _NO_FIBRES_BROWNED * browned)
    return 1 - math.sqrt(min(1.0, max(0.0, (grain**2 - closed) / (1 - closed))))


def gained_sheen(added: float) -> float:
    """Share of the sheen that clean lining does not have, 0..1, from the light added, of a white sheet's."""
    return 1 - _CLEAN_SHEEN / (_CLEAN_SHEEN + max(0.0, added))


def _added_light(
    face: Face, lab: NDArray[np.float32], clean_lab: NDArray[np.float64], clean_doubt: float
) -> tuple[bool, float, float]:
    """Whether the clean lining has the colour to tell added light; that light; lost share of the colour."""
    lighter = np.median(lab[lab[:, 0] >= np.median(lab[:, 0])], axis=0)
    usual, light, clean = lab_to_linear(np.stack([np.median(lab, axis=0), lighter, clean_lab])).astype(float)
    if (over := veil(np.stack([usual, light]), clean)) is not None:
        added, browned = over
        return True, float(added[1] - _CHAR_LIGHT * browned[1]), float(browned[0])
    warm, own = light[:2].mean(), clean[:2].mean()
    # `Light.uncertainty` the other way round: log error of the light from its Delta E.
    doubt = math.hypot(face.light_uncertainty, clean_doubt)
    error = doubt / 0.8 * 3 / (float(lighter[0]) + 16)
    beyond = float(warm * math.exp(-error) - own) if math.isfinite(error) else 0.0
    return False, beyond, float(1 - np.clip(usual[:2].mean() / max(own, 1e-4), 0, 1))
