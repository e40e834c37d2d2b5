"""One lining over all units of a shop: how often hot, where in the pack, after what mileage."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from wearview.record.mileage import Mileage
from wearview.terms import FRICTION, LINED_KINDS, LINING_LEVELS

# A share of fewer plates is not told, as no kappa is of fewer pairs: D. V. Cicchetti (1981), Applied
# Psychological Measurement 5(1), 101-104, for five levels. Plates of one pack are not independent.
LEAST_PLATES = 50
# With fewer packs what is said of the shop hangs on single packs: simulation study in BMC Health Services
# Research 4:33 (2004).
LEAST_PACKS = 24
# Kilometres from one group of mileages to the next; where a shop would draw the line is nobody's fact.
STEP_KM = 50_000


@dataclass(frozen=True, slots=True)
class LinedPlate:
    """A friction plate or band as a teardown found it.

    Attributes
    ----------
    unit, pack : str
        What tells units and packs apart.
    place : int or None
        1 for the friction plate nearest to the reaction end of those that the pack's photos show, 2 for the
        next; None for a band.
    level : int or None
        The worse side's; None where neither could be graded.
    mileage : Mileage or None
        The unit's, where it was typed.
    """

    unit: str
    pack: str
    place: int | None
    level: int | None
    mileage: Mileage | None


@dataclass(frozen=True, slots=True)
class Heat:
    """How many of some plates had each level.

    Attributes
    ----------
    levels : tuple of int
        Plates of level 0 to 4.
    ungraded : int
        Plates that could not be graded; they are in no share.
    packs, units : int
        That the graded plates come from.
    """

    levels: tuple[int, ...]
    ungraded: int
    packs: int
    units: int

    @property
    def n(self) -> int:
        """Graded plates."""
        return sum(self.levels)

    @property
    def hot(self) -> int:
        """Plates that show heat: level 1 or more."""
        return sum(self.levels[1:])

    @property
    def share(self) -> float | None:
        """Share of the graded plates that shows heat; None under `LEAST_PLATES`."""
        return self.hot / self.n if self.n >= LEAST_PLATES else None


@dataclass(frozen=True, slots=True)
class Followed:
    """A lining over all units of a shop.

    Attributes
    ----------
    whole : Heat
    by_place : dict of int to Heat
        Friction plates by their place from the reaction end.
    by_mileage : dict of int to Heat
        By the kilometres at which a group of `STEP_KM` begins.
    without_mileage : Heat
        Where none was typed.
    """

    lining: str
    whole: Heat
    by_place: dict[int, Heat]
    by_mileage: dict[int, Heat]
    without_mileage: Heat


def follow(lining: str, plates: Sequence[LinedPlate]) -> Followed:
    """How the plates of one lining were found."""
    places: dict[int, list[LinedPlate]] = {}
    groups: dict[int, list[LinedPlate]] = {}
    without = []
    for plate in plates:
        if plate.place is not None:
            places.setdefault(plate.place, []).append(plate)
        if plate.mileage is None:
            without.append(plate)
        else:
            groups.setdefault(int(plate.mileage.km // STEP_KM) * STEP_KM, []).append(plate)
    return Followed(
        lining,
        _heat(plates),
        {place: _heat(found) for place, found in sorted(places.items())},
        {group: _heat(found) for group, found in sorted(groups.items())},
        _heat(without),
    )


def lining_of(document: Mapping[str, Any], part: Mapping[str, Any]) -> str | None:
    """The name of the lining that a part of a document was compared with; None where it has none."""
    if part["kind"] not in LINED_KINDS:
        return None
    name = (part.get("reference") or document["reference"])["lining"]
    return None if name is None else str(name)


def places_from_reaction_end(parts: Iterable[tuple[str, int]]) -> dict[int, int]:
    """The place from the reaction end of each position that holds a friction plate, from kinds and
    positions."""
    positions = sorted({position for kind, position in parts if kind == FRICTION}, reverse=True)
    return {position: place for place, position in enumerate(positions, 1)}


def _heat(plates: Iterable[LinedPlate]) -> Heat:
    levels, ungraded = [0] * len(LINING_LEVELS), 0
    packs, units = set(), set()
    for plate in plates:
        if plate.level is None:
            ungraded += 1
        else:
            levels[plate.level] += 1
            packs.add(plate.pack)
            units.add(plate.unit)
    return Heat(tuple(levels), ungraded, len(packs), len(units))
