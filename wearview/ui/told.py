"""What one photo shows, in words for page and phone."""

from typing import Any

from wearview.record import position_label
from wearview.report.words import level_words
from wearview.terms import PROBLEMS
from wearview.ui.again import OWN, SAME, TURNED
from wearview.ui.bench import Seen
from wearview.ui.tray import GivenPhoto

# What a photo shows beside the one before it: short enough for three buttons beside each other on a phone.
BESIDE = {OWN: "other parts", SAME: "the same", TURNED: "other side"}


def shown(seen: Seen | None, *, blind: bool) -> list[str]:
    """What was found: a line for each part with its position, its kind and, unless it is judged blind, its
    heat level."""
    if seen is None or seen.document is None:
        return []
    parts = [part for photo in seen.document["photos"] for part in photo["parts"]]
    return [_where(part) if blind else f"{_where(part)}. {_level(part)}" for part in parts]


def to_change(seen: Seen | None) -> list[str]:
    """What to change where a photo or one of its parts was refused."""
    if seen is None:
        return []
    if seen.document is None:
        return [seen.problem or "This photo could not be read."]
    named: list[str] = []
    for photo in seen.document["photos"]:
        named += photo["quality"]["problems"]
        named += [problem for part in photo["parts"] for problem in part["problems"]]
    known = (PROBLEMS[name] for name in dict.fromkeys(named) if name in PROBLEMS)
    return [f"{problem.text} {problem.remedy}" for problem in known if problem.refuses]


def alt_text(photo: GivenPhoto, seen: Seen | None) -> str:
    """What the marked photo shows, for those who cannot see it."""
    parts = "; ".join(shown(seen, blind=False))
    return f"{photo.name} with its parts outlined. {parts or 'No part was graded'}."


def _where(part: dict[str, Any]) -> str:
    return f"Position {position_label(part)}, {part['kind']}"


def _level(part: dict[str, Any]) -> str:
    grade = part["grade"]
    return level_words(grade["level"], grade["name"]) if grade else level_words(None, None)
