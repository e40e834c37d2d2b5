"""Glazing of a lining: grain lost and sheen gained against clean."""

import math
from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearview.colour import lab_to_linear
from wearview.lining.sheen import veil
from wearview.network import log_odds, read_layers, read_range
from wearview.ranks import median, middle, quantile
from wearview.reading import MIN_PIXELS, Reading, missing, seen_values
from wearview.reference import Reference
from wearview.settings import models_folder
from wearview.surface import Face

_METHOD = "one photo"
FILE = "glaze-1.toml"
# A closed surface keeps less grain than this over the clean lining's, in log units, and has a sheen. Over how
# much less, and over how much light of a white sheet's, what each allows of the odds grows to all.
_MOST_GRAIN, _GRAIN_REACH, SHEEN_REACH = 0.8, 0.4, 0.005
# Log odds: of the plates that the weights were fitted to a third are glazed, of those on tuned benches a
# fifth.
_FEWER = -0.5
_CHAR_LIGHT = 0.02  # light that lost colour adds, of a white sheet's
# Contrast that heat adds to the grain, as a share of clean, for each share of L* + 16 lost: fibres brown
# unevenly. 0.8 to 1.4 do as well.
_BURNT_GRAIN = 1.0
# Quantile of a photo's plates that stands for clean grain: not the very grainiest, which may be dust.
_GRAINIEST = 0.8
# What the odds of an index of 60 or more say of the index: medians of tuned plates. And the half width of its
# 90 % interval with which a normal error gives 60 or more just that chance.
ODDS = (-5.0, -2.5, -1.0, 0.0, 1.2, 3.3, 7.0, 7.7)
INDEX = (0.0, 25.0, 47.0, 60.0, 73.0, 77.0, 80.0, 100.0)
HALF_WIDTH = (40.0, 40.0, 35.0, 31.0, 29.0, 16.0, 11.0, 10.0)
_EVERY = 3  # grid pixels, each way, whose light is compared with the own colour's
_SECTORS, _LEAST_SECTOR = 8, 20
_GREYEST = 0.95  # clean blue over red and green, at most


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a face shows of glaze beside its clean lining, in the order of the weights.

    Attributes
    ----------
    added : float
        Neutral light over its own colour where the face is lighter, as a share of a white sheet's.
    browned : float
        Share of its colour lost to heat, 0..1; of a grey lining of its lightness.
    lightest, darkest, peak : float
        L* by which the lightest tenth of the face lies over its middle, the middle over the darkest tenth,
        and the lightest fiftieth over the lightest tenth: sheen is lighter in places, heat and dirt darker.
    coloured : bool
        Whether the clean lining has the colour to tell added light.
    skew, tail, noise, speckle, size : float
        As in `surface.Fibres`.
    bands : tuple of float
        As there, over the log power of the clean lining's grain.
    blueness : float
        Clean linear blue over the mean of red and green.
    shade : float
        Log of the darkest tenth's L* + 16 over the clean lining's.
    blue : float
        Blue beyond its own colour's in all but the least blue quarter, as a share of a white sheet's.
    faded : float
        Chroma less than the clean lining's, CIELAB.
    swing : float
        Standard deviation of that blue over eight sectors: a lamp shines back from one side.
    grain : float
        Contrast of its fibres as a share of the clean lining's. No weight: the bands have it.
    """

    added: float
    browned: float
    lightest: float
    darkest: float
    peak: float
    coloured: bool
    skew: float
    tail: float
    bands: tuple[float, ...]
    noise: float
    size: float
    blueness: float
    shade: float
    blue: float
    faded: float
    swing: float
    speckle: float
    grain: float

    @property
    def cues(self) -> NDArray[np.float32]:
        """What the weights are for, in their order."""
        *values, _ = astuple(self)
        return np.array([v for value in values for v in np.atleast_1d(value)], np.float32)


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

    A surface that closes loses its grain and gains its sheen at once. A small network (`models/glaze-1.toml`,
    made by `tests.training.glazing`) joins what a face shows of both, each noisy alone, to the odds of an
    index of 60 or more. Where one is plainly absent there is no glaze whatever it says: grain lost without
    sheen is a blurred photo, sheen over all of the grain polish or oil. The interval is the one in which the
    chance of 60 or more is what the network says.

    Never gloss units, which belong to a glossmeter on a flat sample (ISO 2813:2014; ASTM D523).

    Raises
    ------
    ModelsError
        The weights are missing or damaged.
    """
    if reference.lab_median is None:
        return missing("index 0-100", _METHOD, "no clean reference")
    seen = face.seen
    n = int(np.count_nonzero(seen))
    if n < MIN_PIXELS:
        return missing("index 0-100", _METHOD, "too few pixels", n_pixels=n)
    if not (math.isfinite(face.grain) and math.isfinite(reference.grain)) or reference.grain <= 0:
        return missing("index 0-100", _METHOD, "grain not resolved", n_pixels=n)
    odds = odds_of_glaze(evidence_of_glaze(face, reference))
    value, half_width = (float(np.interp(odds, ODDS, known)) for known in (INDEX, HALF_WIDTH))
    return Reading(value, "index 0-100", _METHOD, n, half_width)


def odds_of_glaze(shown: Evidence) -> float:
    """Natural log odds of a glazing index of 60 or more.

    Raises
    ------
    ModelsError
        The weights are missing or damaged.
    """
    path = models_folder() / FILE
    low, high = read_range(path)
    odds = log_odds(read_layers(path), np.clip(shown.cues, low, high)[:, None])
    return min(float(odds[0]) + _FEWER, _most_odds(shown))


def evidence_of_glaze(face: Face, reference: Reference) -> Evidence:
    """What a face with measured pixels shows of glaze beside a clean lining whose colour is known."""
    assert reference.lab_median is not None
    assert face.fibres is not None
    clean_lab, fibres, lab = reference.lab_median, face.fibres, face.colours
    light_half = np.flatnonzero(lab[:, 0] >= middle(lab[:, 0]))
    colours = np.stack([face.usual, median(np.take(lab, light_half, axis=0), 0), clean_lab])
    usual, light, clean = lab_to_linear(colours).astype(float)
    dark, half, bright, top = (quantile(lab[:, 0], share) for share in (0.1, 0.5, 0.9, 0.98))
    blueness = float(min(clean[2] / max(clean[:2].mean(), 1e-4), _GREYEST))
    blue, swing = _beyond_own_colour(face, blueness)
    if (over := veil(np.stack([usual, light]), clean)) is not None:
        added, browned = float(over[0][1] - _CHAR_LIGHT * over[1][1]), float(over[1][0])
    else:
        added, browned = _of_grey(usual, light, clean, float(colours[1, 0]), face, reference)
    return Evidence(
        added=added,
        browned=browned,
        lightest=bright - half,
        darkest=half - dark,
        peak=top - bright,
        coloured=over is not None,
        skew=fibres.skew,
        tail=fibres.tail,
        bands=tuple(band - 2 * math.log(reference.grain) for band in fibres.bands),
        noise=fibres.noise,
        size=fibres.size,
        blueness=blueness,
        shade=math.log((dark + 16) / (float(clean_lab[0]) + 16)),
        blue=blue,
        faded=float(np.hypot(*clean_lab[1:]) - np.hypot(*face.usual[1:])),
        swing=swing,
        speckle=fibres.speckle,
        grain=fibres.grain / reference.grain,
    )


def _of_grey(
    usual: NDArray[np.float64],
    light: NDArray[np.float64],
    clean: NDArray[np.float64],
    lightness: float,
    face: Face,
    reference: Reference,
) -> tuple[float, float]:
    """Light that even a clean grey lining could not return, and the share of its own that is gone."""
    warm, own = light[:2].mean(), clean[:2].mean()
    # `Light.uncertainty` the other way round: log error of the light from its Delta E.
    doubt = math.hypot(face.light_uncertainty, reference.light_uncertainty)
    error = doubt / 0.8 * 3 / (lightness + 16)
    beyond = float(warm * math.exp(-error) - own) if math.isfinite(error) else 0.0
    return beyond, float(1 - np.clip(usual[:2].mean() / max(own, 1e-4), 0, 1))


def _beyond_own_colour(face: Face, blueness: float) -> tuple[float, float]:
    """`Evidence.blue` and `Evidence.swing`."""
    seen = face.seen[::_EVERY, ::_EVERY]
    linear = lab_to_linear(face.lab[::_EVERY, ::_EVERY][seen])
    beyond = linear[:, 2] - blueness * linear[:, :2].mean(axis=1)
    sector = (face.angle_deg[::_EVERY, ::_EVERY][seen] * (_SECTORS / 360)).astype(int) % _SECTORS
    sectors = [beyond[sector == k] for k in range(_SECTORS)]
    middles = [middle(one) for one in sectors if len(one) >= _LEAST_SECTOR]
    swing = float(np.std(middles)) if middles else 0.0
    return quantile(beyond, 0.25) if len(beyond) else 0.0, swing


def _most_odds(shown: Evidence) -> float:
    """Log odds that grain and, on a coloured lining, sheen allow at most."""
    lost = (_MOST_GRAIN - math.log(max(shown.grain, 1e-3))) / _GRAIN_REACH
    gained = shown.added / SHEEN_REACH if shown.coloured else 1.0
    allowed = min(max(0.0, lost), max(0.0, gained), 1.0)
    return ODDS[0] + allowed * (ODDS[-1] - ODDS[0])
