"""Photos of a tray that show the same parts: what was said of them, their order, what each shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from wearview.record import Shows

OWN, SAME, TURNED = BESIDE = ("own", "same", "turned")


@dataclass(frozen=True, slots=True)
class Again:
    """That a photo shows the parts of another one again.

    Attributes
    ----------
    of : str
        sha256 of the first photo of these parts, whether or not it still lies in the tray.
    turned : bool
        Whether it shows their other side.
    """

    of: str
    turned: bool = False


def together(order: Sequence[str], again: Mapping[str, Again]) -> list[str]:
    """The photos with those of the same parts where the first of them lies, one side after the other.

    Parameters
    ----------
    order : sequence of str
        sha256 of the photos as they would lie by themselves.
    again : mapping of str to Again
        What was said, by the photo's sha256.
    """
    place: dict[str, int] = {}
    for n, sha256 in enumerate(order):
        place.setdefault(_of(sha256, again).of, n)
    return sorted(order, key=lambda sha256: (place[_of(sha256, again).of], _of(sha256, again).turned))


def shows(order: Sequence[str], again: Mapping[str, Again], first: str) -> tuple[Shows, ...]:
    """What each photo shows, as `pipeline.grade_photos` takes it; `first` is the end at which they begin.

    A plate is turned over on its way from that end, so the side photographed first is the one towards it.
    """
    keys = [_of(sha256, again) for sha256 in order]
    turned = {key.of for key in keys if key.turned}
    number = {of: n for n, of in enumerate(dict.fromkeys(key.of for key in keys))}
    near, far = ("apply", "reaction") if first == "apply" else ("reaction", "apply")
    return tuple(
        Shows(number[key.of], (far if key.turned else near) if key.of in turned else None) for key in keys
    )


def beside(order: Sequence[str], again: Mapping[str, Again], n: int) -> str:
    """What the photo at place `n`, from 1 on, shows beside the one before it: one of `BESIDE`."""
    one, before = _of(order[n], again), _of(order[n - 1], again)
    if one.of != before.of:
        return OWN
    return SAME if one.turned == before.turned else TURNED


def with_beside(order: Sequence[str], again: Mapping[str, Again], n: int, what: str) -> dict[str, Again]:
    """What is said of all photos once that at place `n`, from 1 on, is said to show this beside the one
    before it. Photos of the same parts as it come along, unless it is taken away from them."""
    sha256, before = order[n], _of(order[n - 1], again)
    if what == OWN:
        return {other: said for other, said in again.items() if other != sha256}
    mine = _of(sha256, again)
    if mine.of == before.of:
        return {**again, sha256: Again(before.of, before.turned != (what == TURNED))}
    side = (what == TURNED) != before.turned
    along = {
        other: Again(before.of, said.turned != (side != mine.turned))
        for other in order
        if (said := _of(other, again)).of == mine.of
    }
    return {**again, **along}


def in_pairs(order: Sequence[str], what: str) -> dict[str, Again]:
    """What is said of all photos where every second one shows this beside the one before it."""
    return {order[n]: Again(order[n - 1], what == TURNED) for n in range(1, len(order), 2)}


def moved(order: Sequence[str], again: Mapping[str, Again], sha256: str, by: int) -> tuple[str, ...]:
    """The photos with one of them, and those of the same parts, moved by so many others' places."""
    groups: dict[str, list[str]] = {}
    for other in order:
        groups.setdefault(_of(other, again).of, []).append(other)
    keys, mine = list(groups), _of(sha256, again).of
    at = keys.index(mine)
    keys.insert(min(max(at + by, 0), len(keys) - 1), keys.pop(at))
    return tuple(other for key in keys for other in groups[key])


def _of(sha256: str, again: Mapping[str, Again]) -> Again:
    return again.get(sha256, Again(sha256))
