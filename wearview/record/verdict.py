"""The technician's verdict, and what it is given to."""

import re
from dataclasses import dataclass

from wearview.errors import CallError
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
    blind : bool or None
        Whether the grade was hidden when it was given; None where that was not noted.

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
    blind: bool | None = None

    def __post_init__(self) -> None:
        if self.decision not in VERDICTS:
            raise CallError(str(self.decision), "is no verdict", f"Use one of {', '.join(VERDICTS)}")
        if self.heat is not None and self.heat not in range(5):
            raise CallError(str(self.heat), "is no heat level", "Use 0 to 4")
        if self.reason is not None and self.reason not in REASONS:
            raise CallError(str(self.reason), "is no reason", f"Use one of {', '.join(REASONS)}")


def position_label(part: dict) -> str:
    """A part's position with its side, as `--positions` takes it: "3", "3a", "3r"."""
    return f"{part['position']}{SIDE_LETTERS.get(part.get('side') or '', '')}"


def parse_target(text: str) -> tuple[int, str | None] | None:
    """Position and side ("apply", "reaction" or None) of "3", "3a" or "3r"; None for any other text."""
    if not (match := _POSITION.fullmatch(text)):
        return None
    sides = {letter: side for side, letter in SIDE_LETTERS.items()}
    return int(match[1]), sides.get(match[2])
