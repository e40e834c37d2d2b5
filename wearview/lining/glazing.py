"""Glazing of a lining: grain lost and sheen gained against clean."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wearview.colour import lab_to_linear
from wearview.lining.sheen import veil
from wearview.ranks import median, middle
from wearview.reading import MIN_PIXELS, Reading, missing, seen_values
from wearview.reference import Reference
from wearview.surface import Face

_METHOD = "one photo"
# A coloured lining. Weights that join light added and grain lost to one closing of the surface: bias, of the
# added light, of the log of the grain, of the colour lost to heat, which looks like lost sheen. Fitted by
# `python -m tests.training.glazing` on rendered plates, no real ones. And the reach over which each cue alone
# counts from nothing to fully: log units of grain lost, light of a white sheet's added.
_CLOSING = (-1.70, 29.0, -2.11, 1.50)
GRAIN_REACH, SHEEN_REACH = 0.1, 0.005
FAINTEST_GRAIN, MOST_LIGHT = 0.2, 0.1  # beyond these the weights were not fitted
# A grey lining, chosen on 55 friction plates of rendered photos; `read_glazing` says what for.
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


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a face shows of glaze beside its clean lining.

    Attributes
    ----------
    coloured : bool
        Whether the clean lining has the colour to tell added light.
    grain : float
        Contrast of its fibres as a share of the clean lining's.
    added : float
        Neutral light over its own colour, as a share of a white sheet's.
    browned : float
        Share of its colour lost to heat, 0..1.
    """

    coloured: bool
    grain: float
    added: float
    browned: float


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
            darker = max(0.0, clean_root / (middle(lightness) + 16) - 1)
            grains.append(face.grain / (1 + _BURNT_GRAIN * darker))
    if len(grains) < 2:
        return reference
    return replace(reference, grain=max(reference.grain, float(np.quantile(grains, _GRAINIEST))))


def read_glazing(face: Face, reference: Reference) -> Reading:
    """Glazing index of a face, 0..100.

    100 x sqrt(lost grain x gained sheen): 0 is as clean, 100 no grain left under strong sheen. Missing with
    "grain not resolved" or "too few pixels".

    Notes
    -----
    Sheen is neutral light over the lining's own colour. It lifts blue, which tan, brown, red and green
    linings return least; heat lifts nothing. Blue is compared with the mean of red and green, since heat
    turns green brown. It is read where the face is lighter, so least burnt.

    A surface that closes loses its grain and gains its sheen at once, so on a coloured lining the two, each
    noisy alone, are read as one closing. Neither counts where the other is plainly absent: grain lost without
    sheen is a blurred photo, sheen over all of the grain polish or oil.

    On a grey or black lining added light has no colour of its own. There sheen is what even a clean lining
    could not return within the light's uncertainty; where that proves nothing, what usually comes with the
    grain lost, at between half and twice of it. Part of the contrast is no fibres (dust, mottle), a larger
    part on a browned lining: glaze leaves it.

    Never gloss units, which belong to a glossmeter on a flat sample (ISO 2813:2014; ASTM D523).
    """
    if reference.lab_median is None:
        return missing("index 0-100", _METHOD, "no clean reference")
    seen = face.seen
    n = int(np.count_nonzero(seen))
    if n < MIN_PIXELS:
        return missing("index 0-100", _METHOD, "too few pixels", n_pixels=n)
    if not (math.isfinite(face.grain) and math.isfinite(reference.grain)) or reference.grain <= 0:
        return missing("index 0-100", _METHOD, "grain not resolved", n_pixels=n)
    evidence = evidence_of_glaze(face, reference)

    def index(grain: float, added: float, usual: float) -> float:
        shown = replace(evidence, grain=grain, added=added)
        return 100 * (_coloured_index(shown) if shown.coloured else _grey_index(shown, usual))

    grain, added, more = evidence.grain, evidence.added, 1 + _GRAIN_ERROR
    by_grain = index(grain / more, added, 1) - index(grain * more, added, 1)
    by_sheen = index(grain, added + _SHEEN_ERROR, 2) - index(grain, added - _SHEEN_ERROR, 0.5)
    spread = math.hypot(by_grain / 2, by_sheen / 2, _INDEX_ERROR)
    return Reading(index(grain, added, 1), "index 0-100", _METHOD, n, spread)


def lost_grain(grain: float, browned: float) -> float:
    """Share of the fibres' contrast that is gone, 0..1, from the grain left as a share of the clean grain."""
    closed = min(0.9, _NO_FIBRES + _NO_FIBRES_BROWNED * browned)
    return 1 - math.sqrt(min(1.0, max(0.0, (grain**2 - closed) / (1 - closed))))


def gained_sheen(added: float) -> float:
    """Share of the sheen that clean lining does not have, 0..1, from the light added, of a white sheet's."""
    return 1 - _CLEAN_SHEEN / (_CLEAN_SHEEN + max(0.0, added))


def evidence_of_glaze(face: Face, reference: Reference) -> Evidence:
    """What a face with measured pixels shows of glaze beside a clean lining whose colour is known."""
    assert reference.lab_median is not None
    lab = face.colours
    light_half = np.flatnonzero(lab[:, 0] >= middle(lab[:, 0]))
    lighter = median(np.take(lab, light_half, axis=0), 0)
    colours = np.stack([median(lab, 0), lighter, reference.lab_median])
    usual, light, clean = lab_to_linear(colours).astype(float)
    grain = face.grain / reference.grain
    if (over := veil(np.stack([usual, light]), clean)) is not None:
        added, lost = over
        return Evidence(True, grain, float(added[1] - _CHAR_LIGHT * lost[1]), float(lost[0]))
    warm, own = light[:2].mean(), clean[:2].mean()
    # `Light.uncertainty` the other way round: log error of the light from its Delta E.
    doubt = math.hypot(face.light_uncertainty, reference.light_uncertainty)
    error = doubt / 0.8 * 3 / (float(lighter[0]) + 16)
    beyond = float(warm * math.exp(-error) - own) if math.isfinite(error) else 0.0
    browned = float(1 - np.clip(usual[:2].mean() / max(own, 1e-4), 0, 1))
    return Evidence(False, grain, beyond, browned)


def _coloured_index(shown: Evidence) -> float:
    bias, of_light, of_grain, of_browning = _CLOSING
    log_grain = math.log(max(shown.grain, FAINTEST_GRAIN))
    light = min(shown.added, MOST_LIGHT)
    odds = bias + of_light * light + of_grain * log_grain + of_browning * shown.browned
    closing = 1 / (1 + math.exp(-odds))
    lost = closing * min(1.0, max(0.0, -log_grain / GRAIN_REACH))
    gained = closing * min(1.0, max(0.0, light / SHEEN_REACH))
    return math.sqrt(lost * gained)


def _grey_index(shown: Evidence, usual: float) -> float:
    lost = lost_grain(shown.grain, shown.browned)
    return math.sqrt(lost * max(gained_sheen(shown.added), min(1.0, usual * lost**_USUAL_SHEEN)))
