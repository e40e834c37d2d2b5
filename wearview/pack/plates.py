"""The plates of a pack in position order, each with its worse side."""

from collections.abc import Iterable
from dataclasses import dataclass

from wearview.grade import Grade
from wearview.lining import LiningReadings
from wearview.reading import Reading
from wearview.steel import SteelReadings

SIDES = ("apply", "reaction")


@dataclass(frozen=True, slots=True)
class PackPart:
    """What the pack needs to know of one graded part. Plain values, so that a stored part serves as well.

    Attributes
    ----------
    id : str
    position : int
        1 at the apply piston.
    kind : str
        One of `terms.KINDS`.
    side : str or None
        "apply" or "reaction", where the two faces of one plate are parts of their own.
    level, name, score : int, str, float, or None
        Of its grade; None where no grade could be given.
    relative : bool
        Graded against the cleanest part only.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    gradient_radial, gradient_angular : float or None
        L*, linings only.
    hot_spots : int or None
        Their number, steels only.
    """

    id: str
    position: int
    kind: str
    side: str | None
    level: int | None
    name: str | None
    score: float | None
    relative: bool
    problems: tuple[str, ...]
    gradient_radial: float | None = None
    gradient_angular: float | None = None
    hot_spots: int | None = None

    def __post_init__(self) -> None:
        if self.side is not None and self.side not in SIDES:
            raise ValueError(f"side must be one of {SIDES} or None, got {self.side!r}")
        if self.position < 1:
            raise ValueError(f"positions count from 1, got {self.position}")


def pack_part(
    part_id: str,
    position: int,
    kind: str,
    grade: Grade,
    side: str | None = None,
    lining: LiningReadings | None = None,
    steel: SteelReadings | None = None,
) -> PackPart:
    """A part of the pack from its grade and readings."""
    spots = steel.hot_spots.count if steel else None
    return PackPart(
        id=part_id,
        position=position,
        kind=kind,
        side=side,
        level=grade.level,
        name=grade.name,
        score=grade.score,
        relative=grade.relative,
        problems=grade.problems,
        gradient_radial=_value(lining.gradient_radial) if lining else None,
        gradient_angular=_value(lining.gradient_angular) if lining else None,
        hot_spots=int(spots.value) if spots and spots.known else None,
    )


def _value(reading: Reading) -> float | None:
    return reading.value if reading.known else None


@dataclass(frozen=True, slots=True)
class Plate:
    """One position of the pack: one part, or the two sides of one plate.

    Attributes
    ----------
    position : int
    kind : str
    parts : tuple of PackPart
        Apply side first.
    level, score : int, float, or None
        Of the worse graded side; None when no side is graded.
    """

    position: int
    kind: str
    parts: tuple[PackPart, ...]
    level: int | None
    score: float | None

    @property
    def complete(self) -> bool:
        """Whether every part of it is graded."""
        return all(part.level is not None for part in self.parts)


def join_sides(parts: Iterable[PackPart]) -> tuple[Plate, ...]:
    """The plates by position; two sides of one plate are joined by the worse one.

    Raises
    ------
    ValueError
        When two parts claim one position without being its two sides.
    """
    by_position: dict[int, list[PackPart]] = {}
    for part in parts:
        by_position.setdefault(part.position, []).append(part)
    plates = []
    for position, here in sorted(by_position.items()):
        if len(here) > 1 and sorted(part.side or "" for part in here) != list(SIDES):
            raise ValueError(f"position {position} is given {len(here)} times and not as its two sides")
        here.sort(key=lambda part: part.side or "")
        graded = [part for part in here if part.level is not None and part.score is not None]
        worst = max(graded, key=lambda part: part.score or 0.0, default=None)
        plates.append(
            Plate(
                position,
                here[0].kind,
                tuple(here),
                worst.level if worst else None,
                worst.score if worst else None,
            )
        )
    return tuple(plates)
