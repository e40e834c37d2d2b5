"""A clean lining of the shop's own: what was measured on its photos, and what comes out of them together."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.colour import delta_e
from wearview.reference import BATCH_SPREAD, Reference
from wearview.spread import SIGMAS_90

# How many clean plates the usual spread between batches counts for beside those measured.
_USUAL_COUNTS_FOR = 4


@dataclass(frozen=True, slots=True)
class CleanPlate:
    """One clean face: median Lab, grain as in `surface.Face`, sheen as in `lining.own_sheen`, and how far its
    parts lie apart in lightness, in L* from the darkest to the lightest tenth; NaN unknown."""

    lab: tuple[float, float, float]
    grain: float
    sheen: float
    uneven: float = math.nan


@dataclass(frozen=True, slots=True)
class CleanPhoto:
    """A photo of clean plates of one lining.

    Attributes
    ----------
    file, sha256 : str
        Its name without folders, and its hash.
    taken_at : str or None
    light : str
        One of `terms.LIGHT_METHODS`.
    light_uncertainty : float
        Half width of the 90 % interval, Delta E.
    plates : tuple of CleanPlate
        At least one.
    """

    file: str
    sha256: str
    taken_at: str | None
    light: str
    light_uncertainty: float
    plates: tuple[CleanPlate, ...]

    @property
    def lab(self) -> NDArray[np.float64]:
        """Mean over its plates."""
        return np.mean([plate.lab for plate in self.plates], axis=0)


@dataclass(frozen=True, slots=True)
class Pooled:
    """What all photos of a lining say together.

    Attributes
    ----------
    lab : tuple of float
    spread : float
        Half width of the 90 % interval between clean plates, Delta E.
    light_uncertainty : float
        What the photos' lights leave unknown in `lab`, half width of the 90 % interval, Delta E.
    grain, sheen : float
        Medians over the plates; NaN where unknown.
    light : str
        Light method of the photo that counts most.
    """

    lab: tuple[float, float, float]
    spread: float
    light_uncertainty: float
    grain: float
    sheen: float
    light: str


@dataclass(frozen=True, slots=True)
class StoredLining:
    """One version of a lining in the shop's library.

    Attributes
    ----------
    name : str
    version : int
        From 1; each addition and each removal is the next.
    kept_at : str
        Time in UTC, ISO 8601.
    removed : bool
    wet : bool
        Whether its plates were photographed wet.
    photos : tuple of CleanPhoto
    pooled : Pooled
    """

    name: str
    version: int
    kept_at: str
    removed: bool
    wet: bool
    photos: tuple[CleanPhoto, ...]
    pooled: Pooled

    @property
    def plates(self) -> int:
        """How many clean plates it rests on."""
        return sum(len(photo.plates) for photo in self.photos)

    def reference(self) -> Reference:
        """The lining as a clean reference."""
        p = self.pooled
        return Reference(
            "library", None, self.name, np.array(p.lab), p.spread, p.grain, self.wet, p.light_uncertainty
        )


def pool(photos: Sequence[CleanPhoto]) -> Pooled:
    """Mean and spread of a lining over its photos.

    Parameters
    ----------
    photos : sequence of CleanPhoto
        At least one, all of one lining.

    Notes
    -----
    A photo's light moves all its plates alike, so the photos' means are averaged, each with the weight
    1 / (light^2 + spread^2): inverse variance. The light's share of the mean's uncertainty falls with the
    photos, not with the plates. The spread between plates is the root mean square of what is left: plates
    about their photo's mean, and photos about the common mean less what their lights explain (the sums of
    squares of a one-way analysis of variance), which counts the less the more uncertain the lights are.
    The usual spread between batches counts as four plates more, so that two plates that happen to be alike
    do not make a lining known to a hair (a conjugate prior on a variance: A. Gelman and others, Bayesian
    Data Analysis, 3rd edition 2013, section 2.6; from memory).
    """
    means = np.array([photo.lab for photo in photos])
    lights = np.array([photo.light_uncertainty for photo in photos])
    weight = 1 / (lights**2 + BATCH_SPREAD**2)
    weight /= weight.sum()
    lab = weight @ means
    usual = (BATCH_SPREAD / SIGMAS_90) ** 2
    squares, freedom = _USUAL_COUNTS_FOR * usual, float(_USUAL_COUNTS_FOR)
    for photo in photos:
        squares += float((_off([plate.lab for plate in photo.plates], photo.lab) ** 2).sum())
        freedom += len(photo.plates) - 1
    if len(photos) > 1:
        counts = np.array([len(photo.plates) for photo in photos])
        by_light = counts * (lights / SIGMAS_90) ** 2
        told = float((usual / (usual + by_light.mean())) ** 2)
        squares += told * max(0.0, float(counts @ _off(means, lab) ** 2 - by_light.sum()))
        freedom += told * (len(photos) - 1)
    plates = [plate for photo in photos for plate in photo.plates]
    return Pooled(
        lab=(float(lab[0]), float(lab[1]), float(lab[2])),
        spread=SIGMAS_90 * math.sqrt(squares / freedom),
        light_uncertainty=float(np.sqrt((weight**2 * lights**2).sum())),
        grain=_median([plate.grain for plate in plates]),
        sheen=_median([plate.sheen for plate in plates]),
        light=photos[int(weight.argmax())].light,
    )


def _off(labs: Sequence[Sequence[float]] | NDArray[np.float64], lab: NDArray[np.float64]) -> NDArray:
    return np.asarray(delta_e(np.asarray(labs, float), lab), float)


def _median(values: Sequence[float]) -> float:
    known = [value for value in values if math.isfinite(value)]
    return float(np.median(known)) if known else math.nan
