"""The pack by position: trend, pattern, and what may be said about them.

The profile is measured first and compared with what the trade expects afterwards; position never alters
a grade.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wearview.pack.pattern import find_pattern, shows_heat
from wearview.pack.plates import PackEntry, Plate, join_sides, sides_of
from wearview.pack.trend import Trend, find_trend
from wearview.pack.words import advise, explain
from wearview.shots import Shots
from wearview.terms import BAND, FRICTION, STEEL

__all__ = ["NearReactionEnd", "Pack", "PackEntry", "Trend", "find_trend", "profile_pack"]


@dataclass(frozen=True, slots=True)
class NearReactionEnd:
    """The last third of the positions, two at least, and those of them at level 1 or more."""

    positions: tuple[int, ...]
    showing_heat: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Pack:
    """The plates of one pack together.

    Attributes
    ----------
    order : tuple of str
        Ids by position, apply piston first; of one plate the apply side first.
    trend : Trend
    pattern : str
        One of `terms.PATTERNS`.
    near_reaction_end : NearReactionEnd
    sides : tuple of Shots
        The two linings of each plate of which both sides were measured, beside each other.
    explanation, advice : tuple of str
        Plain sentences.
    """

    order: tuple[str, ...]
    trend: Trend
    pattern: str
    near_reaction_end: NearReactionEnd
    sides: tuple[Shots, ...]
    explanation: tuple[str, ...]
    advice: tuple[str, ...]


def profile_pack(entries: Iterable[PackEntry]) -> Pack | None:
    """The pack's profile, or None for bands and under two parts.

    Parameters
    ----------
    entries : iterable of PackEntry
        In any order.

    Raises
    ------
    CallError
        When two parts claim one position without being its two sides.
    """
    parts = list(entries)
    if len(parts) < 2 or any(part.kind == BAND for part in parts):
        return None
    plates = join_sides(parts)
    frictions = [plate for plate in plates if plate.kind == FRICTION]
    steels = [plate for plate in plates if plate.kind == STEEL]
    basis = frictions if len(_graded(frictions)) >= 2 else steels
    along = _graded(basis)
    trend = find_trend([plate.position for plate in along], [plate.score or 0.0 for plate in along])
    pattern = find_pattern(basis)
    if pattern == "none" and (of_steels := find_pattern(steels)) not in ("none", "cannot tell"):
        # Heat that only the steels show is the pack's heat all the same.
        pattern, basis = of_steels, steels
    elif pattern == "none" and any(shows_heat(plate) or not plate.complete for plate in plates):
        pattern = "cannot tell"
    near = plates[-max(2, math.ceil(len(plates) / 3)) :]
    return Pack(
        order=tuple(part.id for plate in plates for part in plate.parts),
        trend=trend,
        pattern=pattern,
        near_reaction_end=NearReactionEnd(
            tuple(plate.position for plate in near),
            tuple(plate.position for plate in near if shows_heat(plate)),
        ),
        sides=tuple(filter(None, map(sides_of, plates))),
        explanation=explain(plates, basis, pattern, trend, along),
        advice=advise(plates, pattern),
    )


def _graded(plates: Sequence[Plate]) -> list[Plate]:
    return [plate for plate in plates if plate.score is not None]
