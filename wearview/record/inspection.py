"""What a technician looks at beside the clutch packs: his shop's checklist, and what he found."""

from collections.abc import Sequence
from dataclasses import dataclass

from wearview.errors import CallError
from wearview.terms import FOUND, NOT_LOOKED_AT, NOTHING_FOUND, OUTCOMES

NOT_DONE = "not-done"  # an item of the checklist of which nobody has said anything so far

# Where a shop may begin, in the order in which a unit comes apart; common practice, no source. Every unit has
# its own, so none is ever assumed.
EXAMPLE_CHECKLIST = (
    "case, cooler fittings and seals: leaks",
    "pan and filter: what lies in them",
    "valve body: faces, springs, check balls",
    "pump: pocket, gears, bushing",
    "thrust washers and bearings",
    "servos and accumulators: bores, springs",
    "drums: scoring, seal ring grooves",
    "pistons, seals and return springs",
    "planet sets: pinions, side play",
    "bushings and shafts",
    "case: lugs, bores, cracks",
)


@dataclass(frozen=True, slots=True)
class AttachedPhoto:
    """A photo kept with a finding: the file's own name, and the sha256 that it is kept by."""

    file: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Inspection:
    """What was said of one item: looked at or not, and what was found.

    Attributes
    ----------
    item : str
        As the checklist has it, or any other name.
    outcome : str
        One of `terms.OUTCOMES`.
    by, note : str or None
    said_at : str
        ISO 8601 in UTC.
    photos : tuple of AttachedPhoto

    Raises
    ------
    CallError
        When the outcome is none of these, or something was found and nobody says what.
    """

    item: str
    outcome: str
    by: str | None
    note: str | None
    said_at: str
    photos: tuple[AttachedPhoto, ...] = ()

    def __post_init__(self) -> None:
        if self.outcome not in OUTCOMES:
            raise CallError(self.outcome, "is no outcome", f"Use one of {', '.join(OUTCOMES)}")
        if self.outcome == FOUND and not self.note and not self.photos:
            raise CallError(self.item, "does not say what was found", "Add a note or a photo")


@dataclass(frozen=True, slots=True)
class CheckLine:
    """An item with what holds now (None: not done so far), and whether it is of the checklist."""

    item: str
    said: Inspection | None
    listed: bool

    @property
    def state(self) -> str:
        """One of `terms.OUTCOMES`, or `NOT_DONE`."""
        return NOT_DONE if self.said is None else self.said.outcome


def check_lines(checklist: Sequence[str], said: Sequence[Inspection]) -> list[CheckLine]:
    """The checklist in its order, then what was found beside it in the order in which it was said.

    Items are the same without regard to case; of several things said of one, the last holds.
    """
    newest = {inspection.item.casefold(): inspection for inspection in said}
    lines = [CheckLine(item, newest.pop(item.casefold(), None), True) for item in checklist]
    return [*lines, *(CheckLine(left.item, left, False) for left in newest.values())]


def counted(lines: Sequence[CheckLine]) -> str:
    """How far the checklist is done, in words: "8 of 11 looked at, 1 left out, 2 not done"."""
    listed = [line for line in lines if line.listed]
    looked = sum(line.state in (FOUND, NOTHING_FOUND) for line in listed)
    skipped = sum(line.state == NOT_LOOKED_AT for line in listed)
    told = [f"{looked} of {len(listed)} looked at"]
    told += [f"{skipped} left out"] if skipped else []
    left = len(listed) - looked - skipped
    return ", ".join([*told, *([f"{left} not done"] if left else [])])
