"""What one photo shows, in words for page and phone."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from wearview.record import position_label
from wearview.report.words import SAID_BY_THE_PART, gap_words, level_words, places, problem_words
from wearview.terms import (
    GAP,
    NO_CLEAN,
    NO_NEUTRAL,
    NOT_RECOGNISED,
    PROBLEMS,
    ROWS,
    SECOND_LEFT_OUT,
    SHOTS_LEFT_OUT,
    TWO_LIGHTS,
    worth_saying,
)
from wearview.ui.again import OWN, RELIT, SAME, TURNED
from wearview.ui.bench import Bench, Seen
from wearview.ui.tray import GivenPhoto, Tray

# What a photo shows beside the one before it: short enough for buttons beside each other on a phone.
BESIDE = {OWN: "other parts", SAME: "the same", TURNED: "other side", RELIT: "lamp moved"}


# What another photo of the same parts does not mend: their clean lining is missing, or heat cannot show.
NOT_THE_PHOTO = {
    NO_CLEAN,
    *NOT_RECOGNISED,
    "does not fit the reference",
    "lining too dark to show heat",
}
# What is said beside what refuses, and what is said of a photo that need not be taken again for it alone.
_SAID_TOO = {GAP, ROWS, *SECOND_LEFT_OUT, *SHOTS_LEFT_OUT}
_SAID_ONLY = {NO_NEUTRAL}


@dataclass(frozen=True, slots=True)
class Told:
    """What a page says of one photo: whether it was graded, what it shows, what to change, and whether taking
    it again may help."""

    graded: bool
    shown: list[str]
    change: list[str]
    again: bool


def told(bench: Bench, lying: Tray, photo: GivenPhoto, *, blind: bool) -> Told:
    """What is known of a photo of a tray; of a second light what became of it."""
    alone, first = bench.seen(lying, photo), lying.first_light(photo.sha256)
    seen = None if first is None else bench.seen(lying, first)
    unread = [one for one in (alone, seen) if one is not None and one.document is None]
    if first is None or unread:
        return Told(alone is not None, shown(alone, blind=blind), to_change(alone), _may_help(alone))
    number, left_out = 1 + lying.photos.index(first), _left_out(seen)
    return Told(seen is not None, _beside_first(seen, number), left_out, bool(left_out))


def shown(seen: Seen | None, *, blind: bool) -> list[str]:
    """What was found: a line for each part with its position, its kind and, unless it is judged blind, its
    heat level."""
    if seen is None or seen.document is None:
        return []
    parts = [part for photo in seen.document["photos"] for part in photo["parts"]]
    return [_where(part) if blind else f"{_where(part)}. {_level(part)}{_how(part)}" for part in parts]


def to_change(seen: Seen | None) -> list[str]:
    """What to change where a photo or one of its parts was refused."""
    if seen is None:
        return []
    if seen.document is None:
        return [seen.problem or "This photo could not be read."]
    parts = [part for photo in seen.document["photos"] for part in photo["parts"]]
    own = _own_remedies(parts)
    named = [(PROBLEMS[name], bool(own) and name in SAID_BY_THE_PART) for name in _named(seen) if name != GAP]
    return [
        *(problem_words(problem, remedy=not by_the_part) for problem, by_the_part in named),
        *(f"{places(tuple(labels)).capitalize()}: {remedy}" for remedy, labels in own.items()),
        *gap_words(position_label(part) for part in parts if GAP in part["problems"]),
    ]


def _own_remedies(parts: Sequence[dict[str, Any]]) -> dict[str, list[str]]:
    """What to do that differs from part to part, with the positions for which it is."""
    found: dict[str, list[str]] = {}
    for part in parts:
        if SAID_BY_THE_PART.intersection(part["problems"]):
            for remedy in part.get("remedies", ()):
                found.setdefault(remedy, []).append(position_label(part))
    return found


def _may_help(seen: Seen | None) -> bool:
    """Whether taking a photo again may mend what is wrong with it."""
    if seen is None or seen.document is None:
        return seen is not None
    return not (NOT_THE_PHOTO | _SAID_ONLY).issuperset(_named(seen))


def _named(seen: Seen) -> list[str]:
    """The problems to tell of a photo and its parts, each once."""
    assert seen.document is not None
    listed: list[str] = []
    for photo in seen.document["photos"]:
        listed += photo["quality"]["problems"]
        listed += [problem for part in photo["parts"] for problem in worth_saying(part["problems"])]
    known = (PROBLEMS[name] for name in dict.fromkeys(listed) if name in PROBLEMS)
    told_too = _SAID_TOO | _SAID_ONLY
    return [problem.name for problem in known if problem.refuses or problem.name in told_too]


def alt_text(photo: GivenPhoto, seen: Seen | None) -> str:
    """What the marked photo shows, for those who cannot see it."""
    parts = "; ".join(shown(seen, blind=False))
    return f"{photo.name} with its parts outlined. {parts or 'No part was graded'}."


def _left_out(seen: Seen | None, why: Sequence[str] = SECOND_LEFT_OUT) -> list[str]:
    """Why a photo, or the second light of one, was left out, and what to do."""
    photos = [] if seen is None or seen.document is None else seen.document["photos"]
    named = [name for photo in photos for name in photo["quality"]["problems"]]
    return [f"{PROBLEMS[name].text} {PROBLEMS[name].remedy}" for name in why if name in named]


def _beside_first(seen: Seen | None, number: int) -> list[str]:
    """What became of the second light of the photo with this number."""
    if seen is None or seen.document is None:
        return []
    if _left_out(seen):
        return [f"Left out: photo {number} is read by itself."]
    if any(_lit_twice(part) for photo in seen.document["photos"] for part in photo["parts"]):
        return [f"Read together with photo {number}: {TWO_LIGHTS}."]
    return [f"Adds nothing to photo {number}: two lights tell the glaze of a lining, where both show it."]


def _lit_twice(part: dict[str, Any]) -> bool:
    return bool(part["glazing"]) and part["glazing"]["method"] == TWO_LIGHTS


def _where(part: dict[str, Any]) -> str:
    return f"Position {position_label(part)}, {part['kind']}"


def _how(part: dict[str, Any]) -> str:
    return f" ({TWO_LIGHTS})" if _lit_twice(part) else ""


def _level(part: dict[str, Any]) -> str:
    grade = part["grade"]
    return level_words(grade["level"], grade["name"]) if grade else level_words(None, None)
