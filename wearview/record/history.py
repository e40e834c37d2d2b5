"""What a shop keeps: teardowns, their elements, each grading, and the technician's verdicts beside them."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from wearview.record.document import Document, parts_of
from wearview.record.duty import Duty
from wearview.record.inspection import Inspection
from wearview.record.measured import Measured
from wearview.record.mileage import Mileage
from wearview.record.verdict import PACK, Verdict, position_label
from wearview.terms import how_many


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

    `gradings` and `verdicts` are oldest first; `expectation` is what the shop expects to see there, in
    words.
    """

    name: str
    expectation: str | None
    gradings: tuple[Grading, ...]
    verdicts: tuple[Verdict, ...]
    duty: Duty = field(default_factory=Duty)

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
    """One unit opened for one customer, its elements in the order in which they came.

    Attributes
    ----------
    customer : str or None
        The shop's reference for the customer.
    customer_id : str or None
        The opaque id that stays when the customer's data are erased; `customer` is then None.
    blind : bool
        Whether grades are hidden until the verdict is in.
    closed : bool
        Whether nothing more may be added until it is opened again.
    checklist : tuple of str
        What the shop looks at beside the packs when it opens this type of unit, in teardown order.
    inspections : tuple of Inspection
        What was found there, of each item what holds now.
    measured : tuple of Measured
        Of each measured value the one that holds now.
    mileage : Mileage or None
        How far the unit had run when it was opened.
    """

    name: str
    unit: str | None
    serial: str | None
    customer: str | None
    wish: str | None
    opened_at: str
    elements: tuple[Element, ...]
    customer_id: str | None = None
    blind: bool = False
    closed: bool = False
    checklist: tuple[str, ...] = ()
    inspections: tuple[Inspection, ...] = ()
    measured: tuple[Measured, ...] = ()
    mileage: Mileage | None = None


@dataclass(frozen=True, slots=True)
class TeardownLine:
    """A teardown in a list."""

    name: str
    unit: str | None
    serial: str | None
    customer: str | None
    opened_at: str
    closed: bool
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


def unexpected_heat(element: Element) -> tuple[PartLine, ...]:
    """Parts that show heat (level 1 or more) where none is expected, by the element's stated expectation.

    A shift element is expected to show it near the reaction end; where its pack has no profile, and where
    no expectation is stated, nothing can be called unexpected.
    """
    expects = element.duty.expects
    if expects is None or element.latest is None:
        return ()
    hot = [line for line in part_lines(element) if line.level is not None and line.level >= 1]
    if expects == "shift":
        pack = element.latest.document["pack"]
        if pack is None:
            return ()
        near = pack["near_reaction_end"]["positions"]
        hot = [line for line in hot if line.part["position"] not in near]
    return tuple(hot)


def miscount(element: Element) -> str:
    """What to say where the photos show another number of plates than the pack is stated to have; empty where
    they agree, and where nothing is stated or found.

    A row with a plate missed at its end has no gap: nothing but its number tells.
    """
    seen = len({line.part["position"] for line in part_lines(element)})
    stated = element.duty.plates
    if element.latest is None or not seen or stated is None or seen == stated:
        return ""
    told = f"The photos show {how_many(seen, 'plate')}; the pack is stated to have {stated}."
    if seen < stated and any(not photo["parts"] for photo in element.latest.document["photos"]):
        return f"{told} A photo that could not be graded may hold the others: take it again."
    if seen < stated:
        missed = "one was" if stated - seen == 1 else "some were"
        return (
            f"{told} Where all were photographed, {missed} missed, perhaps at an end of a row: look, as the "
            "positions counted behind are off."
        )
    return f"{told} Look whether one was photographed twice, or something else was taken for a plate."
