"""Several shots of one face joined into one reading, with their spread and what it does to the chances."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearview.lining import LiningReadings
from wearview.reading import Reading
from wearview.spread import half_width
from wearview.steel import SteelReadings
from wearview.terms import TWO_LIGHTS

# Half widths in Delta E, and shares of a face, better than which no shot is believed to be known: estimates.
_LEAST, _LEAST_SHARE = 0.5, 0.05


@dataclass(frozen=True, slots=True)
class Shots:
    """What several shots of one face say beside each other.

    Attributes
    ----------
    ids : tuple of str
        Parts of the document, one of each shot; the one that carries the joined reading first.
    values : tuple of float
        Of each: a lining's median Delta E, a steel's share that is tinted; NaN where it was not measured.
    unit : str
        "dE00" or "fraction".
    spread : float
        Half of the distance between the largest and the smallest value; NaN under two.
    expected : float
        The most that two of them differ by when both are off by their uncertainty; NaN under two.
    """

    ids: tuple[str, ...]
    values: tuple[float, ...]
    unit: str
    spread: float
    expected: float

    @property
    def agree(self) -> bool:
        """Whether they differ by no more than their uncertainty accounts for; also where nothing was
        compared."""
        return not 2 * self.spread > self.expected

    @property
    def said(self) -> str:
        """The shots in a sentence; empty where no two were measured."""
        if math.isnan(self.spread):
            return ""
        percent, of_lining = 100 if self.unit == "fraction" else 1, self.unit == "dE00"
        shown = [f"{percent * v:.{1 if of_lining else 0}f}" for v in self.values if not math.isnan(v)]
        what = f"Delta E {_listed(shown)}" if of_lining else f"{_listed(shown)} % tinted"
        count = len(shown)
        if self.agree:
            return f"Joined from {count} shots that agree: {what}."
        limit = f"{percent * self.expected:.{1 if of_lining else 0}f}{'' if of_lining else ' %'}"
        return (
            f"The {count} shots disagree: {what}, further apart than the {limit} to which they are known. "
            "Look at the shots: glare, oil, a shadow or another plate in one of them."
        )


def join_linings(ids: Sequence[str], shots: Sequence[LiningReadings]) -> tuple[LiningReadings, Shots]:
    """Readings of one lining from several shots, against one and the same clean lining.

    Parameters
    ----------
    ids : sequence of str
        One for each shot.
    shots : sequence of LiningReadings
        Two or more whose colour is known.

    Returns
    -------
    LiningReadings
        Means weighed by the inverse square of each shot's uncertainty; what has a direction (the sectors) is
        the first shot's. One phone under one lamp errs alike, so several shots are known no better than the
        best of them; where they lie further apart than they should, worse in that proportion (R. T. Birge,
        1932; from memory). The draws are those of every shot, each as likely as its uncertainty lets it
        weigh, so that a level that any good shot shows keeps its chance.
    Shots
    """
    known = np.array([max(one.uncertainty, _LEAST) for one in shots])
    weights = _weights(known)
    values = [one.delta_e00_median.value for one in shots]
    told = _shots(ids, values, "dE00", math.sqrt(2) * float(np.sqrt(np.mean(known**2))))
    uncertainty = float(known.min()) * max(1.0, 2 * told.spread / told.expected)
    areas = [_mean([one.areas[k] for one in shots], weights) for k in range(4)]
    draws, likelihood = _pooled(
        [area.value for area in areas],
        [one.area_draws for one in shots],
        [one.draw_likelihood for one in shots],
        weights,
    )
    areas = [replace(a, spread=float(s)) for a, s in zip(areas, half_width(draws), strict=True)]
    first = shots[0]

    def mean(name: str, spread: float = math.nan) -> Reading:
        return replace(_mean([getattr(one, name) for one in shots], weights), spread=spread)

    steps = zip(*(one.radial_delta_l for one in shots), strict=True)
    return replace(
        first,
        delta_e00_median=mean("delta_e00_median", uncertainty),
        delta_e00_p90=mean("delta_e00_p90", uncertainty),
        delta_l_median=mean("delta_l_median", uncertainty),
        area_over_5=areas[0],
        area_over_10=areas[1],
        area_over_20=areas[2],
        area_char=areas[3],
        radial_delta_l=tuple(_mean(step, weights) for step in steps),
        gradient_radial=mean("gradient_radial"),
        gradient_angular=mean("gradient_angular"),
        uncertainty=uncertainty,
        glazing=_glazing([one.glazing for one in shots]),
        area_draws=draws,
        draw_likelihood=likelihood,
        problems=_problems(shots),
    ), told


def join_steels(ids: Sequence[str], shots: Sequence[SteelReadings]) -> tuple[SteelReadings, Shots]:
    """Readings of one steel from several shots; the hot spots are the first shot's.

    Parameters
    ----------
    ids : sequence of str
        One for each shot.
    shots : sequence of SteelReadings
        Two or more whose areas are known.
    """
    known = np.array([one.uncertainty if math.isfinite(one.uncertainty) else 99.0 for one in shots])
    weights = _weights(np.maximum(known, _LEAST))
    areas = [_mean([one.areas[k] for one in shots], weights) for k in range(len(shots[0].areas))]
    draws, likelihood = _pooled(
        [area.value for area in areas],
        [one.area_draws for one in shots],
        [one.draw_likelihood for one in shots],
        weights,
    )
    areas = [replace(a, spread=float(s)) for a, s in zip(areas, half_width(draws), strict=True)]
    bare = [one.area("bare") for one in shots]
    widths = [_LEAST_SHARE if math.isnan(a.spread) else max(a.spread, _LEAST_SHARE) for a in bare]
    tinted = [1 - a.value - one.area("other").value for a, one in zip(bare, shots, strict=True)]
    told = _shots(ids, tinted, "fraction", math.sqrt(2) * float(np.sqrt(np.mean(np.square(widths)))))
    apart = max(1.0, 2 * told.spread / told.expected)
    return replace(
        shots[0],
        areas=tuple(areas),
        uncertainty=float(min(one.uncertainty for one in shots)) * apart,
        area_draws=draws,
        draw_likelihood=likelihood,
        problems=_problems(shots),
    ), told


def compare_sides(ids: Sequence[str], sides: Sequence[LiningReadings]) -> Shots:
    """The two linings of one plate beside each other; nothing is joined, the worse side counts."""
    values = [one.delta_e00_median.value for one in sides]
    return _shots(ids, values, "dE00", math.hypot(*(one.uncertainty for one in sides)))


def _weights(known: NDArray[np.float64]) -> NDArray[np.float64]:
    """Shares of one, by the inverse squares of half widths."""
    inverse = 1 / np.square(known)
    return np.asarray(inverse / inverse.sum())


def _shots(ids: Sequence[str], values: Sequence[float], unit: str, expected: float) -> Shots:
    return Shots(tuple(ids), tuple(values), unit, (max(values) - min(values)) / 2, expected)


def _mean(readings: Sequence[Reading], weights: NDArray[np.float64]) -> Reading:
    """Weighed mean of those that are known; the first where none is."""
    known = [k for k, one in enumerate(readings) if one.known]
    if not known:
        return readings[0]
    value = float(np.average([readings[k].value for k in known], weights=weights[known]))
    return replace(readings[known[0]], value=value, n_pixels=sum(readings[k].n_pixels for k in known))


def _pooled(
    joined: Sequence[float],
    draws: Sequence[NDArray[np.float64]],
    likelihoods: Sequence[NDArray[np.float64]],
    weights: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The joined areas and every shot's draws, the best shot's as likely as they were, others less."""
    if not any(len(each) for each in draws):
        return draws[0], likelihoods[0]
    weighed = [one * share / weights.max() for one, share in zip(likelihoods, weights, strict=True)]
    return np.concatenate([[joined], *draws]), np.concatenate([[1.0], *weighed])


def _glazing(readings: Sequence[Reading]) -> Reading:
    """The mean of those that are known; where some were read by two lights, of these alone."""
    known = [one for one in readings if one.known]
    known = [one for one in known if one.method == TWO_LIGHTS] or known
    if not known:
        return readings[0]
    values = [one.value for one in known]
    spread = math.hypot(min(one.spread for one in known), (max(values) - min(values)) / 2)
    return replace(
        known[0],
        value=float(np.mean(values)),
        spread=spread,
        n_pixels=sum(one.n_pixels for one in known),
    )


def _problems(shots: Sequence[LiningReadings] | Sequence[SteelReadings]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for one in shots for name in one.problems))


def _listed(words: Sequence[str]) -> str:
    return " and ".join(", ".join(words).rsplit(", ", 1))
