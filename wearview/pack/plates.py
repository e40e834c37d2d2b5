"""The plates of a pack in position order, each with its worse side."""

from collections.abc import Iterable
from dataclasses import dataclass

from wearview.errors import CallError
from wearview.grade import Grade
from wearview.lining import LiningReadings
from wearview.shots import Shots, compare_sides
from wearview.steel import SteelReadings
from wearview.terms import PROBLEMS, worth_saying

SIDES = ("apply", "reaction")


@dataclass(frozen=True, slots=True, eq=False)
class PackEntry:
    """What the pack needs to know of one part.

    Attributes
    ----------
    id : str
    position : int
        1 at the apply piston.
    kind : str
        One of `terms.KINDS`.
    side : str or None
        "apply" or "reaction", where the two faces of one plate are parts of their own.
    grade : Grade or None
        None, or a grade without a level, where none could be given.
    lining : LiningReadings or None
    steel : SteelReadings or None
    problems : tuple of str
        Names from `terms.PROBLEMS` beside the grade's own: why there is no grade.
    """

    id: str
    position: int
    kind: str
    side: str | None = None
    grade: Grade | None = None
    lining: LiningReadings | None = None
    steel: SteelReadings | None = None
    problems: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.side is not None and self.side not in SIDES:
            raise ValueError(f"side must be one of {SIDES} or None, got {self.side!r}")
        if self.position < 1:
            raise ValueError(f"positions count from 1, got {self.position}")

    @property
    def level(self) -> int | None:
        """Heat level, None where it cannot be told."""
        return self.grade.level if self.grade else None

    @property
    def score(self) -> float | None:
        """Heat score, None where it cannot be told."""
        return self.grade.score if self.grade else None

    @property
    def name(self) -> str:
        """The level in words."""
        return (self.grade and self.grade.name) or "not graded"

    @property
    def refusals(self) -> tuple[str, ...]:
        """The problems for which it has no grade, those worth saying; empty when it has one."""
        if self.level is not None:
            return ()
        names = (*self.problems, *(self.grade.problems if self.grade else ()))
        return tuple(name for name in worth_saying(names) if PROBLEMS[name].refuses)

    @property
    def remedies(self) -> tuple[str, ...]:
        """What to do where it has no grade: what its grade says of its own case, else the problems' words."""
        if self.grade is None:
            return tuple(PROBLEMS[name].remedy for name in self.refusals)
        beside = (PROBLEMS[name].remedy for name in self.refusals if name not in self.grade.problems)
        return (*beside, *self.grade.remedies)

    @property
    def hot_spots(self) -> int:
        """Hot spots counted on it."""
        count = self.steel.hot_spots.count if self.steel else None
        return int(count.value) if count and count.known else 0


@dataclass(frozen=True, slots=True)
class Plate:
    """One position of the pack: one part, or the two sides of one plate.

    Attributes
    ----------
    position : int
    kind : str
    parts : tuple of PackEntry
        Apply side first.
    level, score : int, float, or None
        Of the worse graded side; None when no side is graded.
    """

    position: int
    kind: str
    parts: tuple[PackEntry, ...]
    level: int | None
    score: float | None

    @property
    def name(self) -> str:
        """The level of the worse graded side in words."""
        return max(self.parts, key=lambda part: -1.0 if part.score is None else part.score).name

    @property
    def complete(self) -> bool:
        """Whether every part of it is graded."""
        return all(part.level is not None for part in self.parts)


def sides_of(plate: Plate) -> Shots | None:
    """The two linings of one plate beside each other; None where only one of them was measured."""
    linings = [part.lining for part in plate.parts if part.lining and part.lining.delta_e00_median.known]
    return compare_sides([part.id for part in plate.parts], linings) if len(linings) == 2 else None


def join_sides(parts: Iterable[PackEntry]) -> tuple[Plate, ...]:
    """The plates by position; two sides of one plate are joined by the worse one.

    Raises
    ------
    CallError
        When two parts claim one position without being its two sides.
    """
    by_position: dict[int, list[PackEntry]] = {}
    for part in parts:
        by_position.setdefault(part.position, []).append(part)
    plates = []
    for position, here in sorted(by_position.items()):
        if len(here) > 1 and sorted(part.side or "" for part in here) != list(SIDES):
            raise CallError(
                f"position {position}",
                f"given to {len(here)} parts",
                f"Name the two sides of one plate {position}a and {position}r",
            )
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
