"""What a shop keeps: teardowns, their elements, each grading, and the technician's verdicts beside them."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from wearview.errors import CallError
from wearview.record.document import Document, parts_of
from wearview.terms import REASONS, VERDICTS

PACK = "pack"  # the target of a verdict on a whole pack
SIDE_LETTERS = {"apply": "a", "reaction": "r"}

_POSITION = re.compile(r"([1-9][0-9]{0,3})([ar]?)")


@dataclass(frozen=True, slots=True)
class Verdict:
    """The technician's own decision. It never changes a grade.

    Attributes
    ----------
    target : str
        As typed: a position ("3", "3a"), "pack", or the name of a part outside a pack.
    part_id : str or None
        The part that held the position when the verdict was given; None for a pack or a named part.
    decision : str
        One of `terms.VERDICTS`.
    heat : int or None
        His own heat level 0..4, in the words of the grade table.
    reason : str or None
        One of `terms.REASONS`.
    by, note : str or None
        Who, and his own words.
    given_at : str
        ISO 8601 in UTC.

    Raises
    ------
    CallError
        When a word is not one of the contract's.
    """

    target: str
    part_id: str | None
    decision: str
    heat: int | None
    reason: str | None
    by: str | None
    note: str | None
    given_at: str

    def __post_init__(self) -> None:
        if self.decision not in VERDICTS:
            raise CallError(str(self.decision), "is no verdict", f"Use one of {', '.join(VERDICTS)}")
        if self.heat is not None and self.heat not in range(5):
            raise CallError(str(self.heat), "is no heat level", "Use 0 to 4")
        if self.reason is not None and self.reason not in REASONS:
            raise CallError(str(self.reason), "is no reason", f"Use one of {', '.join(REASONS)}")


@dataclass(frozen=True, slots=True, eq=False)
class Grading:
    """One run of the program over the photos of an element, as it was stored.

    Attributes
    ----------
    document : dict
        The contract's document.
    document_sha256 : str
        Of its JSON text.
    graded_at : str
        ISO 8601 in UTC.
    overlays : dict of str to str
        sha256 of the photo to sha256 of the overlay picture drawn at the time.
    """

    document: Document
    document_sha256: str
    graded_at: str
    overlays: dict[str, str]


@dataclass(frozen=True, slots=True, eq=False)
class Element:
    """A clutch pack, a band, or another part of the unit by its shop name.

    `gradings` and `verdicts` are oldest first; `expectation` is what the shop expects to see there, in its
    own words.
    """

    name: str
    expectation: str | None
    gradings: tuple[Grading, ...]
    verdicts: tuple[Verdict, ...]

    @property
    def latest(self) -> Grading | None:
        """The newest grading."""
        return self.gradings[-1] if self.gradings else None

    def verdicts_on(self, part_id: str) -> tuple[Verdict, ...]:
        """Every verdict that a part was given, oldest first."""
        return tuple(v for v in self.verdicts if v.part_id == part_id)

    @property
    def pack_verdicts(self) -> tuple[Verdict, ...]:
        """Every verdict on the pack as a whole, oldest first."""
        return tuple(v for v in self.verdicts if v.part_id is None and v.target == PACK)

    @property
    def named_verdicts(self) -> dict[str, tuple[Verdict, ...]]:
        """Verdicts on parts outside the pack, by name."""
        named: dict[str, tuple[Verdict, ...]] = {}
        for v in self.verdicts:
            if v.part_id is None and v.target != PACK:
                named[v.target] = (*named.get(v.target, ()), v)
        return named

    @property
    def verdicts_on_earlier_photos(self) -> tuple[Verdict, ...]:
        """Verdicts on parts that the newest grading does not hold."""
        held = {part["id"] for _, part in parts_of(self.latest.document)} if self.latest else set()
        return tuple(v for v in self.verdicts if v.part_id is not None and v.part_id not in held)


@dataclass(frozen=True, slots=True, eq=False)
class Teardown:
    """One unit opened for one customer, its elements in the order in which they came."""

    name: str
    unit: str | None
    serial: str | None
    customer: str | None
    wish: str | None
    opened_at: str
    elements: tuple[Element, ...]


@dataclass(frozen=True, slots=True)
class TeardownLine:
    """A teardown in a list."""

    name: str
    unit: str | None
    serial: str | None
    customer: str | None
    opened_at: str
    elements: int


@dataclass(frozen=True, slots=True, eq=False)
class PartLine:
    """A graded part as tables show it: its photo and part of the document, and its verdicts, oldest first."""

    photo: dict
    part: dict
    verdicts: tuple[Verdict, ...]

    @property
    def label(self) -> str:
        """Its position as typed, "3" or "3a"."""
        return position_label(self.part)

    @property
    def level(self) -> int | None:
        """The program's level; None when it cannot tell."""
        return self.part["grade"]["level"] if self.part["grade"] else None

    @property
    def verdict(self) -> Verdict | None:
        """The verdict that holds now."""
        return self.verdicts[-1] if self.verdicts else None


def position_label(part: dict) -> str:
    """A part's position with its side, as `--positions` takes it: "3", "3a", "3r"."""
    return f"{part['position']}{SIDE_LETTERS.get(part.get('side') or '', '')}"


def parse_target(text: str) -> tuple[int, str | None] | None:
    """Position and side ("apply", "reaction" or None) of "3", "3a" or "3r"; None for any other text."""
    if not (match := _POSITION.fullmatch(text)):
        return None
    sides = {letter: side for side, letter in SIDE_LETTERS.items()}
    return int(match[1]), sides.get(match[2])


def part_lines(element: Element) -> list[PartLine]:
    """The parts of the newest grading in position order, apply side first, with their verdicts."""
    if element.latest is None:
        return []
    lines = [
        PartLine(photo, part, element.verdicts_on(part["id"]))
        for photo, part in parts_of(element.latest.document)
    ]
    return sorted(lines, key=lambda line: (line.part["position"], line.part.get("side") or ""))


def differences(line: PartLine) -> Iterator[str]:
    """Where a verdict and a grade point different ways; nothing says which is right.

    "heat": the technician's own level is another. "decision": replaced although the level is 0 or 1, or kept
    (reuse, leave, resurface) although it is 2 or more.
    """
    if line.verdict is None or line.level is None:
        return
    if line.verdict.heat is not None and line.verdict.heat != line.level:
        yield "heat"
    keeps = line.verdict.decision in ("reuse", "leave", "resurface")
    if (line.verdict.decision == "replace" and line.level <= 1) or (keeps and line.level >= 2):
        yield "decision"
