"""Rules on readings: heat level, its probability and the plain reasons, or "cannot tell".

Knows nothing of the pack, so position cannot add to a grade.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from wearview.lining import LIMITS, LiningReadings
from wearview.reading import Reading
from wearview.reference import Reference
from wearview.settings import Rules
from wearview.spread import SIGMAS_90
from wearview.steel import HotSpots, SteelReadings
from wearview.terms import (
    CLEANEST_HERE,
    GLAZED,
    LINING_LEVELS,
    PROBLEMS,
    STEEL_LEVELS,
    TWO_LIGHTS,
    how_many,
    worth_saying,
)

LEVELS = 5
_TOP = LEVELS - 1
_LARGEST_FRACTION = 0.999  # the whole part of a score stays the level
_SEEN = 0.005  # share of a face that is written as 1 % or more
_TINTED = ("straw", "brown or purple", "blue", "grey oxide")  # rows 1 to 4 of a steel, as seen on a face
_WORTH_SAYING = 0.10  # share of "other" from which a steel's reasons mention it
_LITTLE = 0.25  # share of a variance from which a photo's light is worth another photo
_Said = tuple[list[str], list[str]]  # why there is no level, and what to do


@dataclass(frozen=True, slots=True)
class Grade:
    """A part's heat-damage grade. `level` None is "cannot tell", and `problems` and `because` say why.

    Attributes
    ----------
    level : int or None
        0..4; 0 says that no heat shows, and nothing about thickness, flatness or bond.
    name : str or None
        The level in words.
    relative : bool
        Compared with the cleanest part only.
    score : float or None
        0 up to 5: the level, plus how far the next row's value has come to its threshold.
    probability : tuple of float, or None
        Chance of each level 0..4 when the readings vary within their uncertainty; None when they could
        not be taken.
    because : tuple of str
        Plain sentences; without a level, why there is none and what to do.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    remedies : tuple of str
        Without a level, those of the sentences that say what to do.
    """

    level: int | None
    name: str | None
    relative: bool
    score: float | None
    probability: tuple[float, ...] | None
    because: tuple[str, ...]
    problems: tuple[str, ...]
    remedies: tuple[str, ...] = ()


def grade_lining(readings: LiningReadings, reference: Reference, rules: Rules) -> Grade:
    """Heat-damage grade of a lining: the highest row of the rules that holds, raised by one for glaze.

    Parameters
    ----------
    readings : LiningReadings
    reference : Reference
        What the readings were taken against.
    rules : Rules
    """
    relative = reference.relative
    problems = readings.problems
    progress = np.array([r.value for r in readings.areas]) / rules.lining_areas
    colour_level = _level(progress)
    refused = _refusing(problems)
    if colour_level is None or refused:
        return _cannot_tell(relative, problems, _say(*refused or ("too few pixels",)))

    glazing = readings.glazing
    glazed = glazing.known and glazing.value >= rules.glazing_index and colour_level <= rules.glazing_highest
    level = colour_level + glazed
    colour_chances = _chances(readings.area_draws / rules.lining_areas, readings.draw_likelihood)
    chances = _raised_by_glaze(colour_chances, glazing, rules)
    if colour_level > 0 and (why := _no_heat(readings)) is not None:
        problems = tuple(dict.fromkeys((*problems, "does not fit the reference")))
        return _cannot_tell(
            relative, problems, ([f"{why}."], [PROBLEMS["does not fit the reference"].remedy])
        )
    if _chance_too_dark(reference, rules) >= rules.rival:
        problems = tuple(dict.fromkeys((*problems, "uncertainty spans grades")))
        return _cannot_tell(relative, problems, _say_may_be_too_dark(reference))
    names = (CLEANEST_HERE, *LINING_LEVELS[1:]) if relative else LINING_LEVELS
    if (open_grades := _too_uncertain(chances, rules)) is not None:
        if _too_uncertain(colour_chances, rules) is None:
            glazed_names = [_lining_name(k, k == colour_level + 1, names) for k in range(LEVELS)]
            said = _say_glaze_open(open_grades, glazed_names, glazing)
        else:
            said = _say_open(open_grades, names, readings.uncertainty, _paper_for(readings, reference))
        return _cannot_tell(relative, problems, said, open_grades)
    because = _lining_reasons(readings, colour_level, glazed, rules)
    if relative:
        because.append("Compared with the cleanest plate only.")
    return Grade(
        level=level,
        name=_lining_name(level, glazed, names),
        relative=relative,
        score=_score(level, progress),
        probability=_as_tuple(chances),
        because=tuple(because),
        problems=problems,
    )


def grade_steel(readings: SteelReadings, rules: Rules) -> Grade:
    """Heat-damage grade of a steel or reaction plate: the highest row of the rules that holds.

    Parameters
    ----------
    readings : SteelReadings
    rules : Rules
    """
    spots = readings.hot_spots
    areas = np.array([r.value for r in readings.areas])
    progress = _steel_progress(areas, spots.count.value, spots.area.value, rules)
    level = _level(progress)
    refused = _refusing(readings.problems)
    if level is None or refused:
        return _cannot_tell(False, readings.problems, _say(*refused or ("too few pixels",)))
    draws = _steel_progress(readings.area_draws, spots.count.value, spots.area.value, rules)
    chances = _chances(draws, readings.draw_likelihood)
    if (open_grades := _too_uncertain(chances, rules)) is not None:
        said = _say_open(open_grades, STEEL_LEVELS, readings.uncertainty, _paper("the part", "that photo"))
        return _cannot_tell(False, readings.problems, said, open_grades)
    return Grade(
        level=level,
        name=STEEL_LEVELS[level],
        relative=False,
        score=_score(level, progress),
        probability=_as_tuple(chances),
        because=tuple(_steel_reasons(readings, level, rules)),
        problems=readings.problems,
    )


def _steel_progress(
    areas: NDArray[np.float64], spots: float, spots_area: float, rules: Rules
) -> NDArray[np.float64]:
    """How far each row's value has come to its threshold, shape (..., 4); 1 and over holds.

    Where a row has two ways, the one that has come further counts; a missing one only when the other
    does not hold.
    """
    _, straw, brown, purple, blue, grey, _ = np.moveaxis(areas, -1, 0)
    ways = (
        (straw / rules.steel_areas[0],),
        ((brown + purple) / rules.steel_areas[1],),
        (blue / rules.steel_areas[2], np.full_like(blue, spots / rules.spots_count)),
        (grey / rules.steel_areas[3], np.full_like(grey, spots_area / rules.spots_area)),
    )
    rows = []
    for row in ways:
        stacked = np.stack(row)
        furthest = stacked.max(axis=0)  # NaN when one is missing
        holds = (stacked >= 1).any(axis=0)
        rows.append(np.where(holds, np.fmax.reduce(stacked), furthest))
    return np.stack(rows, axis=-1)


def _level(progress: NDArray[np.float64]) -> int | None:
    """Highest row that holds, 0 for none; None when a missing value could decide a higher one."""
    for row in range(_TOP, 0, -1):
        value = progress[row - 1]
        if math.isnan(value):
            return None
        if value >= 1:
            return row
    return 0


def _chances(draws: NDArray[np.float64], likelihood: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Chance of each level over rows of progress, shape (N, 4), each with its likelihood.

    None without rows, and where no error is to be believed: a face far lighter than clean lining.

    A level is as likely as the likeliest error that gives it (a profile likelihood). Counting rows instead
    would all but rule out a clean face under a weak light: of the many ways to be off, few end there.
    """
    if not len(draws) or not likelihood.any():
        return None
    levels = np.where(draws >= 1, np.arange(1, LEVELS), 0).max(axis=1)
    chances = np.array([likelihood[levels == level].max(initial=0.0) for level in range(LEVELS)])
    return np.asarray(chances / chances.sum())


def _raised_by_glaze(
    chances: NDArray[np.float64] | None, glazing: Reading, rules: Rules
) -> NDArray[np.float64] | None:
    if chances is None or not glazing.known:
        return chances
    over = glazing.value - rules.glazing_index
    if math.isnan(glazing.spread) or glazing.spread <= 0:
        chance = float(over >= 0)
    else:
        chance = NormalDist().cdf(over * SIGMAS_90 / glazing.spread)
    raised = chances.copy()
    for level in range(rules.glazing_highest, -1, -1):
        moved = chance * chances[level]
        raised[level] -= moved
        raised[level + 1] += moved
    return raised


def _too_uncertain(chances: NDArray[np.float64] | None, rules: Rules) -> tuple[float, ...] | None:
    """The chances when they span grades, empty when they are not known; None when a grade can be given."""
    if chances is None:
        return ()
    rivals = np.flatnonzero(chances >= rules.rival)
    spans = chances.max() < rules.needed or (rivals.size > 0 and rivals[-1] - rivals[0] > 1)
    return _as_tuple(chances) if spans else None


def _as_tuple(chances: NDArray[np.float64] | None) -> tuple[float, ...]:
    return () if chances is None else tuple(float(p) for p in chances)


def _score(level: int, progress: NDArray[np.float64]) -> float:
    """The level and how far the next row has come; at the top, how far it has gone on to the whole face."""
    fraction = progress[level] if level < _TOP else (progress[-1] - 1) / 3
    return level + min(max(float(fraction), 0.0), _LARGEST_FRACTION)


def _refusing(problems: tuple[str, ...]) -> tuple[str, ...]:
    """The problems that forbid a grade, as far as they are worth saying."""
    return tuple(name for name in worth_saying(problems) if PROBLEMS[name].refuses)


def _say(*problems: str) -> _Said:
    return [PROBLEMS[name].text for name in problems], [PROBLEMS[name].remedy for name in problems]


def _cannot_tell(
    relative: bool, problems: tuple[str, ...], said: _Said, probability: tuple[float, ...] | None = None
) -> Grade:
    if probability is not None:
        problems = tuple(dict.fromkeys((*problems, "uncertainty spans grades")))
    why, remedies = said
    because = (*why, *remedies)
    return Grade(None, None, relative, None, probability or None, because, problems, tuple(remedies))


def _say_open(chances: tuple[float, ...], names: tuple[str, ...], uncertainty: float, remedy: str) -> _Said:
    if not chances:
        return _say("uncertainty spans grades")
    why = [
        "The colour is not known well enough to choose a grade.",
        f"Known to within Delta E {uncertainty:.1f}, it could be: {_listed(chances, names)}.",
    ]
    return why, [remedy]


def _paper(beside: str, again: str) -> str:
    return (
        f"Lay plain white paper or a grey card close beside {beside}, in even light, and take {again} again."
    )


def _paper_for(readings: LiningReadings, reference: Reference) -> str:
    """Which photo of a lining whose colour is open to take again: that from which the uncertainty is."""
    of_clean = reference.light_uncertainty**2 if reference.source == "photo" else 0.0
    whole = readings.uncertainty**2
    if of_clean < _LITTLE * whole:
        return _paper("the part", "that photo")
    # More than the whole is an error that both photos share: a surer one of them alone would not share it.
    if (1 - _LITTLE) * whole < of_clean <= whole:
        return _paper("the clean plate", "that photo")
    return _paper("the part, and beside the clean plate too", "both photos")


def _say_glaze_open(chances: tuple[float, ...], names: Sequence[str], glazing: Reading) -> _Said:
    if glazing.method == TWO_LIGHTS:
        remedy = "Move the lamp further to the side for the second photo, and take both from closer."
    else:
        remedy = (
            "Rest the phone on something, take two photos with only the lamp moved between them, and say so "
            "of the second one."
        )
    why = [
        "The colour would do, but whether the face is glazed is open.",
        f"With a glazing index of {glazing.value:.0f}, known to within {glazing.spread:.0f}, it could be: "
        f"{_listed(chances, names)}.",
    ]
    return why, [remedy]


def _listed(chances: tuple[float, ...], names: Sequence[str]) -> str:
    return "; ".join(f"{name} {100 * p:.0f} %" for name, p in zip(names, chances, strict=True) if p >= 0.05)


def _chance_too_dark(reference: Reference, rules: Rules) -> float:
    """Chance that the clean lining is in truth too dark to show heat, though it was not measured so dark."""
    if reference.lab_median is None or not reference.light_uncertainty > 0:
        return 0.0
    clean = NormalDist(float(reference.lab_median[0]), reference.light_uncertainty / SIGMAS_90)
    return clean.cdf(rules.too_dark_below)


def _say_may_be_too_dark(reference: Reference) -> _Said:
    why = (
        "The clean lining may be too dark for colour to show heat: how dark it is, is known to within "
        f"{reference.light_uncertainty:.1f} of L* only."
    )
    remedy = (
        "Put a sheet of plain white paper or a grey card beside the clean plate and take that photo again."
    )
    return [why], [remedy]


def _no_heat(readings: LiningReadings) -> str | None:
    """Why what is off about a lining's colour cannot be heat; None where it can."""
    beyond_doubt = max(readings.uncertainty, LIMITS[0])
    if readings.delta_l_median.value > beyond_doubt:
        return "The face is lighter than the clean lining, and heat darkens"
    if readings.beside_heat > beyond_doubt:
        return "The face has a colour that heat does not give this clean lining"
    return None


def _lining_name(level: int, glazed: bool, names: tuple[str, ...]) -> str:
    if not glazed:
        return names[level]
    return GLAZED if level == 1 else f"{names[level]}, {GLAZED}"


def _lining_reasons(readings: LiningReadings, colour_level: int, glazed: bool, rules: Rules) -> list[str]:
    rows = [
        *(f"of the face is {how} off the clean lining's colour" for how in ("a shade", "clearly", "far")),
        f"of the face is charred, at most {100 * rules.char_lightness_share:g} % as light as clean lining",
    ]
    counted = [*(f"Delta E over {limit:g}; {{}}" for limit in LIMITS), "{}"]
    # The row that holds, then the next one up where it has begun.
    said = [
        _row_sentence(area.value, words, rule.format(name), threshold)
        for i, (area, words, rule, name, threshold) in enumerate(
            zip(readings.areas, rows, counted, LINING_LEVELS[1:], rules.lining_areas, strict=True), start=1
        )
        if i == max(colour_level, 1) or (i == colour_level + 1 and area.value >= _SEEN)
    ]
    if math.isfinite(readings.uncertainty):
        said.append(f"Colour is known to within Delta E {readings.uncertainty:.1f}.")
    if readings.too_bright > 0:
        share = 100 * -math.expm1(-readings.too_bright)
        said.append(
            "A plate of this photo came out lighter than clean lining, and heat only darkens: the photo's "
            f"light was taken down by {share:.0f} %."
        )
    said.append(_glazing_sentence(readings.glazing, colour_level, glazed, rules))
    return said


def _glazing_sentence(glazing: Reading, colour_level: int, glazed: bool, rules: Rules) -> str:
    if not glazing.known:
        return "Glazing was not measured, so the colour decides alone."
    how = f" by {TWO_LIGHTS}" if glazing.method == TWO_LIGHTS else ""
    index = f"glazing index {_shown(glazing.value, rules.glazing_index)} of 100{how}"
    if glazed:
        return f"Glazed, grain lost under a shine: {index}, and {rules.glazing_index:g} counts one level."
    if glazing.value >= rules.glazing_index:
        return f"Glazed, {index}; it adds nothing above level {rules.glazing_highest}."
    return f"No glaze that counts: {index}, under {rules.glazing_index:g}."


def _steel_reasons(readings: SteelReadings, level: int, rules: Rules) -> list[str]:
    area, spots = readings.area, readings.hot_spots
    both = area("brown").value + area("purple").value
    shares = (area("straw").value, both, area("blue").value, area("grey").value)
    if level == 0:
        said = _bare_reasons(shares, int(spots.count.value), rules)
    else:
        said = [
            sentence
            for row in (level, level + 1)
            for sentence in _tint_reasons(row, level, shares, spots, rules)
        ]
    if level == 1:
        said.append("Varnish can look like straw: oxide does not come off with a wipe or solvent.")
    if area("other").value >= _WORTH_SAYING:
        share = 100 * area("other").value
        said.append(
            f"{share:.0f} % of the face is under varnish, rust or transferred lining, which hides the metal."
        )
    return said


def _bare_reasons(shares: tuple[float, ...], spots: int, rules: Rules) -> list[str]:
    """What a steel of level 0 shows: tints too small to count are named, and nothing is said of none."""
    seen = [
        f"{100 * share:.0f} % {name}" for share, name in zip(shares, _TINTED, strict=True) if share >= _SEEN
    ]
    little = "Heat colour on too little of the face to count"
    said = [f"{little}: {', '.join(seen)}." if seen else "No heat colour on the face."]
    if spots:
        said.append(f"{how_many(spots, 'hot spot')} ({STEEL_LEVELS[3]} from {rules.spots_count}).")
    return said


def _tint_reasons(
    row: int, level: int, shares: tuple[float, ...], spots: HotSpots, rules: Rules
) -> Iterator[str]:
    """What a steel shows of one row of the table: always of the one that holds, what holds first, of the next
    where it has begun."""
    if row > _TOP:
        return
    share, name, limit = shares[row - 1], STEEL_LEVELS[row], rules.steel_areas[row - 1]
    by_spots = (row == 3 and spots.count.value > 0) or (row == 4 and spots.area.value > 0)
    ways = []
    if share >= _SEEN or (row == level and not by_spots):
        ways.append((share >= limit, _row_sentence(share, f"of the face is {_TINTED[row - 1]}", name, limit)))
    if row == 3 and by_spots:
        count, least = int(spots.count.value), rules.spots_count
        ways.append((count >= least, f"{how_many(count, 'hot spot')} ({name} from {least})."))
    if row == 4 and by_spots:
        held, limit = spots.area.value, rules.spots_area
        ways.append((held >= limit, _row_sentence(held, "of the face lies in hot spots", name, limit)))
    yield from (sentence for _, sentence in sorted(ways, key=lambda way: not way[0]))


def _row_sentence(share: float, words: str, name: str, threshold: float) -> str:
    shown = _shown(100 * share, 100 * threshold) if share >= _SEEN else "Under 1"
    return f"{shown} % {words} ({name} from {100 * threshold:g} %)."


def _shown(value: float, threshold: float) -> str:
    """The value with as few decimals as leave it on its own side of the threshold."""
    for decimals in range(4):
        text = f"{value:.{decimals}f}"
        if (float(text) >= threshold) == (value >= threshold):
            return text
    return f"just under {threshold:g}"
