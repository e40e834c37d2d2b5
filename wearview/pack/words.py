"""What is said about a pack: what is seen, whether it is usual, and what to check.

Every cause is something to check and never a finding. Sources of the facts are named where they are used.
"""

import math
from collections.abc import Sequence

from wearview.pack.pattern import shows_heat
from wearview.pack.plates import Plate, sides_of
from wearview.pack.trend import Trend
from wearview.terms import FRICTION, PROBLEMS, how_many

_TOO_DARK = "lining too dark to show heat"
_STEADY = 0.05  # p under which a trend is said without doubt: the usual convention
_GRADIENT = 10.0  # L* from which a gradient on one face is worth a sentence

_SEEN = {
    "reaction end": "Heat is heaviest towards the reaction end.",
    "apply end": "Heat is heaviest towards the apply piston.",
    "middle": "Heat is heaviest in the middle of the pack.",
    "whole pack": "Heat shows over the whole pack.",
    "single plate": "One plate stands out from the rest.",
    "one side": "On every hot plate the same side is the hotter one.",
    "none": "No plate shows heat.",
    "cannot tell": "The graded plates show no clear pattern, or too few could be graded to tell.",
}
# Reaction end: the plate next to the snap ring was hottest in J. Wu and others, Int. J. Vehicle Design
# 77(3), 2018; the piston's end in Tribology Transactions 62(4), 724-736, 2019 (abstracts seen). What
# rebuilders expect: common practice, no source.
_USUAL = {
    "reaction end": "Rebuilders commonly see it there, furthest from the apply piston. It is no rule: "
    "published measurements have found either end the hottest.",
    "apply end": "Rebuilders more often expect the other end, but published measurements have found "
    "either end the hottest.",
}
# Things to check: common practice, no source, where no source is named; so each is worded as a possibility.
_CHECK = {
    "reaction end": "Heat at the reaction end may point to the plates there slipping longest: check "
    "the clearance, the reaction plate for cone and the snap ring's seat.",
    "apply end": "Heat at the apply end may point to a piston that releases slowly or to plates that "
    "hang on their splines: check the piston, the return springs and the splines of drum and hub.",
    "middle": "Heat in the middle may point to plates that hang on their splines or to poor oil flow: "
    "check the splines and the oil holes of drum and hub.",
    "whole pack": "Heat over the whole pack may point to low pressure or long slipping: check line "
    "pressure first.",
    "single plate": "Heat on one plate may point to that plate or the one it faces: compare both with "
    "their neighbours for type, thickness and flatness.",
    "one side": "Heat on one side of the plates may point to what that side faces: look at the steels "
    "on that side.",
}
# List of causes: a US car maker's transmission manuals, Clutch Plate Diagnosis, 2004, 2005 and 2011
# (extracts seen).
_CAUSES = (
    "Manuals name these causes of burnt plates to check: low line pressure, worn seal rings, missing "
    "or damaged piston seals, a cracked piston, valve body faults, wrong plates, water or coolant in "
    "the fluid. No photo shows which."
)
# Replaced whole: a Japanese car maker's manuals, 1989 and 2008 (extracts seen).
_WHOLE = "A pack with burnt plates is normally replaced whole. The decision is the technician's."
# Springs and hot spots: the US manuals above.
_SPRINGS = "Where a pack ran very hot, manuals have the return springs replaced too."
_SPOTS = (
    "Manuals have steels with hot spots or scuffing replaced; a smooth smear of colour alone is judged apart."
)
# Cone and thickness: a 2012 truck manual (extract seen).
_MEASURE = (
    "A photo shows no thickness, flatness, cone, bond or clearance: measure them against the manual "
    "of the unit, also where no heat shows."
)


def explain(
    plates: Sequence[Plate], basis: Sequence[Plate], pattern: str, trend: Trend, along: Sequence[Plate]
) -> tuple[str, ...]:
    """Plain sentences on what is seen, for the customer.

    Parameters
    ----------
    plates : sequence of Plate
        All of the pack.
    basis : sequence of Plate
        Those of one kind that the pattern was read from.
    pattern : str
    trend : Trend
    along : sequence of Plate
        The graded plates of one kind that the trend runs over.
    """
    said = [_SEEN[pattern]]
    if pattern != "none" and (graded := [plate for plate in basis if plate.level is not None]):
        said.append(_by_kind(graded))
    if pattern in _USUAL:
        said.append(_USUAL[pattern])
    said += _on_trend(along, pattern, trend)
    if said_dark := _on_dark_linings(plates):
        said.append(said_dark)
    others = [plate for plate in plates if basis and plate.kind != basis[0].kind and plate.level is not None]
    for kind in dict.fromkeys(plate.kind for plate in others):
        said.append(_by_kind([plate for plate in others if plate.kind == kind]))
    said += _on_sides(plates)
    said += _on_faces(plates)
    said += _on_ungraded(plates)
    if any(part.grade and part.grade.relative for plate in plates for part in plate.parts):
        said.append("Linings were compared with the cleanest plate only: all may be hotter than they look.")
    said.append("Each plate's level comes from its own photo alone, not from its place in the pack.")
    return tuple(said)


def advise(plates: Sequence[Plate], pattern: str) -> tuple[str, ...]:
    """Things to check, hedged; never a finding."""
    said = []
    linings = [plate.level for plate in plates if plate.level is not None and plate.kind == FRICTION]
    metals = [plate.level for plate in plates if plate.level is not None and plate.kind != FRICTION]
    hottest = max((*linings, *metals), default=0)
    if hottest >= 1 and pattern in _CHECK:
        said.append(_CHECK[pattern])
    if hottest >= 2:
        said.append(_CAUSES)
    if max(linings, default=0) >= 3:
        said.append(_WHOLE)
    if max(linings, default=0) >= 4 or max(metals, default=0) >= 3:
        said.append(_SPRINGS)
    if any(part.hot_spots for plate in plates for part in plate.parts):
        said.append(_SPOTS)
    return (*said, *_remedies(plates), _MEASURE)


def _remedies(plates: Sequence[Plate]) -> list[str]:
    """What to do about parts without a grade: "Positions 2 and 3: Add a photo of a clean plate."."""
    places: dict[str, list[int]] = {}
    for plate in plates:
        for remedy in dict.fromkeys(remedy for part in plate.parts for remedy in part.remedies):
            places.setdefault(remedy, []).append(plate.position)
    return [f"{_at(positions).capitalize()}: {remedy}" for remedy, positions in places.items()]


def _by_kind(plates: Sequence[Plate]) -> str:
    return f"{plates[0].kind.capitalize()}{'s' if len(plates) > 1 else ''}: {_listed(plates)}."


def _listed(plates: Sequence[Plate]) -> str:
    """Positions joined by what they are: "positions 1 and 3 clean; position 5 burnt, glazed"."""
    groups: list[tuple[str, list[int]]] = []
    for plate in plates:
        name = plate.name
        if groups and groups[-1][0] == name:
            groups[-1][1].append(plate.position)
        else:
            groups.append((name, [plate.position]))
    return "; ".join(f"{_at(positions)} {name}" for name, positions in groups)


def _at(positions: Sequence[object]) -> str:
    return f"position{'s' if len(positions) > 1 else ''} {_joined(positions)}"


def _joined(items: Sequence[object]) -> str:
    words = [str(item) for item in items]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _on_trend(graded: Sequence[Plate], pattern: str, trend: Trend) -> list[str]:
    """How much hotter the plates become along the pack, in levels; nothing where it is under one level, or
    where it may be chance and no end is the hottest. The document holds slope, tau-b and p."""
    if trend.slope_per_position is None or len(graded) < 2:
        return []
    levels = abs(trend.slope_per_position) * (graded[-1].position - graded[0].position)
    steady = trend.p_value is not None and trend.p_value < _STEADY
    if round(levels) < 1 or not (steady or pattern in ("reaction end", "apply end")):
        return []
    end = "reaction end" if trend.slope_per_position > 0 else "apply end"
    change = f"about {how_many(round(levels), 'level')}"
    doubt = "" if steady else " So few plates may show that by chance."
    return [f"Over the {len(graded)} {graded[0].kind}s, heat rises by {change} towards the {end}.{doubt}"]


def _on_dark_linings(plates: Sequence[Plate]) -> str:
    """The steels beside linings on which colour cannot show heat."""
    dark = [i for i, plate in enumerate(plates) if any(_TOO_DARK in part.refusals for part in plate.parts)]
    if not dark:
        return ""
    where = _at([plates[i].position for i in dark])
    neighbours = sorted({j for i in dark for j in (i - 1, i + 1) if 0 <= j < len(plates)} - set(dark))
    steels = [plates[j] for j in neighbours if plates[j].kind != FRICTION]
    beside = f"The steels beside it: {_listed(steels)}" if steels else "No steel beside it was photographed"
    return f"The lining at {where} is too dark to show heat. {beside}."


def _on_sides(plates: Sequence[Plate]) -> list[str]:
    said = []
    for plate in plates:
        if len(plate.parts) == 2:
            apply, reaction = plate.parts
            sides = f"apply side {apply.name}, reaction side {reaction.name}"
            said.append(f"Position {plate.position}: {sides}; the worse side counts.{_apart(plate)}")
    return said


def _apart(plate: Plate) -> str:
    """How far apart the two sides of a plate are, against what they are known to."""
    if (told := sides_of(plate)) is None or not math.isfinite(told.expected):
        return ""
    known = "more than" if not told.agree else "no more than"
    apart = f"Delta E {2 * told.spread:.1f} apart, {known} the {told.expected:.1f}"
    return f" The sides are {apart} to which they are known."


def _on_faces(plates: Sequence[Plate]) -> list[str]:
    parts = [part for plate in plates if shows_heat(plate) for part in plate.parts]
    radial = [(p.position, p.lining.gradient_radial.value) for p in parts if p.lining]
    angular = [(p.position, p.lining.gradient_angular.value) for p in parts if p.lining]
    said = []
    # A missing gradient is NaN, and no comparison with it holds.
    for words, positions in (
        ("the outer third is clearly darker than the inner", [at for at, v in radial if v <= -_GRADIENT]),
        ("the inner third is clearly darker than the outer", [at for at, v in radial if v >= _GRADIENT]),
        ("one part of the ring is clearly darker than the rest", [at for at, v in angular if v >= _GRADIENT]),
    ):
        if positions:
            said.append(f"At {_at(sorted(set(positions)))} {words}.")
    if spots := [f"{part.hot_spots} at position {part.position}" for part in parts if part.hot_spots]:
        said.append(f"Hot spots: {_joined(spots)}.")
    return said


def _on_ungraded(plates: Sequence[Plate]) -> list[str]:
    """Which parts have no grade, those of one reason together."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for plate in plates:
        for part in plate.parts:
            if part.level is None and _TOO_DARK not in part.refusals:
                side = f" ({part.side} side)" if part.side else ""
                groups.setdefault(part.refusals, []).append(f"{plate.position}{side}")
    return [
        " ".join([f"Not graded: {_at(places)}.", *(PROBLEMS[name].text for name in refusals)])
        for refusals, places in groups.items()
    ]
