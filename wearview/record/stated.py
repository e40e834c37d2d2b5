"""What a person states beforehand: of the parts in the order found their kinds and places in the pack, of the
photos which parts they show."""

from dataclasses import dataclass

from wearview.errors import CallError
from wearview.record.verdict import parse_target
from wearview.terms import KIND_WORDS


@dataclass(frozen=True, slots=True)
class Place:
    """A position in the pack and which side of the plate lies up ("apply", "reaction" or None)."""

    position: int
    side: str | None = None


@dataclass(frozen=True, slots=True)
class Shows:
    """What a photo shows: photos with the same number show the same parts; of these, those with the same
    side ("apply", "reaction" or None) are shots of the same faces."""

    parts: int
    side: str | None = None


def in_shots(photos: int, shots: int) -> list[Shows]:
    """What so many photos show where so many that follow each other are shots of the same parts.

    Raises
    ------
    CallError
        When the photos do not make whole groups.
    """
    if photos % shots:
        raise CallError(
            f"--shots {shots}",
            f"the number of photos, {photos}, is no multiple of it",
            "Give as many shots of every part, those of the same parts after each other",
        )
    return [Shows(n // shots) for n in range(photos)]


def parse_kinds(typed: str | None) -> list[str] | None:
    """Kinds of "friction,steel", from `terms.KINDS`; None of None.

    Raises
    ------
    CallError
        For a word that is no kind.
    """
    if typed is None:
        return None
    words = [word.strip() for word in typed.split(",")]
    for word in words:
        if word not in KIND_WORDS:
            raise CallError(word or "kinds", "is no kind of part", f"Use {', '.join(KIND_WORDS)}")
    return [KIND_WORDS[word] for word in words]


def parse_places(typed: str | None) -> list[Place] | None:
    """Places of "1,3a,3r"; None of None.

    Raises
    ------
    CallError
        For a word that is no position, or one given twice.
    """
    if typed is None:
        return None
    words = [word.strip() for word in typed.split(",")]
    places = []
    for word in words:
        if (place := parse_target(word)) is None:
            raise CallError(
                word or "positions", "is no position", "Use numbers from 1, with a or r for a side"
            )
        if words.count(word) > 1:
            raise CallError(word, "is given twice", "A position holds one part, or two sides as 3a,3r")
        places.append(Place(*place))
    return places
