"""Glazing of a lining: grain lost and sheen gained against clean."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wearview.colour import lab_to_linear
from wearview.lining.sheen import veil
from wearview.ranks import median, middle, quantile
from wearview.reading import MIN_PIXELS, Reading, missing, seen_values
from wearview.reference import Reference
from wearview.surface import Face

_METHOD = "one photo"
# Weights that join what a face shows to one closing of its surface, coloured lining and grey, in the
# order of `cues`. Fitted by `python -m tests.training.glazing` on rendered plates, no real ones. And the
# reach over which a cue counts from nothing to fully: log units of grain lost, light of a white sheet's.
_CLOSING_COLOURED = (-2.03, -1.24, 43.1, 1.21, -0.26, 0.37, -0.05)
_CLOSING_GREY = (-1.99, -2.58, 7.9, -10.49, 0.27, 0.70, -0.85)
GRAIN_REACH, SHEEN_REACH = 0.1, 0.005
FAINTEST_GRAIN, MOST_LIGHT = 0.2, 0.1  # beyond these the weights were not fitted
_CHAR_LIGHT = 0.02  # light that lost colour adds, of a white sheet's
# Contrast that heat adds to the grain, as a share of clean, for each share of L* + 16 lost: fibres brown
# unevenly. 0.8 to 1.4 do as well.
_BURNT_GRAIN = 1.0
# Quantile of a photo's plates that stands for clean grain: not the very grainiest, which may be dust.
_GRAINIEST = 0.8
# Half widths of 90 % intervals: of the grain as a share of itself, of the added light, and of the index of a
# coloured and of a grey lining for what no cue sees (patches, heat under the glaze). With them 90 in 100 of
# 531 coloured tuned plates and 89 in 100 of 179 grey ones lie inside.
_GRAIN_ERROR, _SHEEN_ERROR, _INDEX_ERROR, _INDEX_ERROR_GREY = 0.22, 0.012, 30.0, 40.0


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
        Share of its colour lost to heat, 0..1; of a grey lining of its lightness.
    lightest, darkest, peak : float
        L* by which the lightest tenth of the face lies over its middle, the middle over the darkest tenth,
        and the lightest fiftieth over the lightest tenth: sheen is lighter in places, heat and dirt darker.
    """

    coloured: bool
    grain: float
    added: float
    browned: float
    lightest: float
    darkest: float
    peak: float


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
    turns green brown. It is read where the face is lighter, so least burnt. On a grey or black lining added
    light has no colour of its own: sheen is what even a clean lining could not return within the light's
    uncertainty, which is seldom any.

    A surface that closes loses its grain and gains its sheen at once, so the cues, each noisy alone, are read
    as one closing, with how unevenly light the face is. Neither counts where the other is plainly absent:
    grain lost without sheen is a blurred photo, sheen over all of the grain polish or oil.

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

    def index(grain: float, added: float) -> float:
        return _index(replace(evidence, grain=grain, added=added))

    grain, added, more = evidence.grain, evidence.added, 1 + _GRAIN_ERROR
    by_grain = index(grain / more, added) - index(grain * more, added)
    by_sheen = index(grain, added + _SHEEN_ERROR) - index(grain, added - _SHEEN_ERROR)
    unseen = _INDEX_ERROR if evidence.coloured else _INDEX_ERROR_GREY
    spread = math.hypot(by_grain / 2, by_sheen / 2, unseen)
    return Reading(index(grain, added), "index 0-100", _METHOD, n, spread)


def evidence_of_glaze(face: Face, reference: Reference) -> Evidence:
    """What a face with measured pixels shows of glaze beside a clean lining whose colour is known."""
    assert reference.lab_median is not None
    lab = face.colours
    light_half = np.flatnonzero(lab[:, 0] >= middle(lab[:, 0]))
    lighter = median(np.take(lab, light_half, axis=0), 0)
    colours = np.stack([median(lab, 0), lighter, reference.lab_median])
    usual, light, clean = lab_to_linear(colours).astype(float)
    grain = face.grain / reference.grain
    dark, half, bright, top = (quantile(lab[:, 0], share) for share in (0.1, 0.5, 0.9, 0.98))
    uneven = bright - half, half - dark, top - bright
    if (over := veil(np.stack([usual, light]), clean)) is not None:
        added, lost = over
        return Evidence(True, grain, float(added[1] - _CHAR_LIGHT * lost[1]), float(lost[0]), *uneven)
    warm, own = light[:2].mean(), clean[:2].mean()
    # `Light.uncertainty` the other way round: log error of the light from its Delta E.
    doubt = math.hypot(face.light_uncertainty, reference.light_uncertainty)
    error = doubt / 0.8 * 3 / (float(lighter[0]) + 16)
    beyond = float(warm * math.exp(-error) - own) if math.isfinite(error) else 0.0
    browned = float(1 - np.clip(usual[:2].mean() / max(own, 1e-4), 0, 1))
    return Evidence(False, grain, beyond, browned, *uneven)


def cues(shown: Evidence) -> tuple[float, ...]:
    """What the weights are for, in their order; the first is one."""
    log_grain = math.log(max(shown.grain, FAINTEST_GRAIN))
    light = max(-MOST_LIGHT, min(shown.added, MOST_LIGHT))
    return 1.0, log_grain, light, shown.browned, shown.lightest, shown.darkest, shown.peak


def neither_absent(shown: Evidence) -> float:
    """How far neither lost grain nor, on a coloured lining, sheen is plainly absent, 0..1."""
    log_grain = math.log(max(shown.grain, FAINTEST_GRAIN))
    lost, gained = -log_grain / GRAIN_REACH, shown.added / SHEEN_REACH if shown.coloured else 1.0
    return math.sqrt(max(0.0, min(1.0, lost)) * max(0.0, min(1.0, gained)))


def _index(shown: Evidence) -> float:
    weights = _CLOSING_COLOURED if shown.coloured else _CLOSING_GREY
    odds = sum(weight * cue for weight, cue in zip(weights, cues(shown), strict=True))
    return 100 * neither_absent(shown) / (1 + math.exp(-odds))
