"""Photos of a tray that show the same parts: what was said of them, their order, what each shows."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from wearview.record import Shows

OWN, SAME, TURNED, RELIT = BESIDE = ("own", "same", "turned", "relit")


@dataclass(frozen=True, slots=True)
class Again:
    """That a photo shows the parts of another one again.

    Attributes
    ----------
    of : str
        sha256 of the first photo of these parts, whether or not it still lies in the tray.
    turned : bool
        Whether it shows their other side.
    relit : str or None
        sha256 of the photo for which only the lamp was moved, this one being its second light.
    """

    of: str
    turned: bool = False
    relit: str | None = None

    @property
    def told(self) -> dict[str, Any]:
        """What stands in a tray's signature: without a second light what stood there before one could be
        said, so that what was graded then is not graded again."""
        told = asdict(self)
        return told if self.relit else {name: told[name] for name in ("of", "turned")}


def second_lights(order: Sequence[str], again: Mapping[str, Again]) -> dict[str, str]:
    """Of each photo that has a second light, which photo that is.

    One whose first photo does not lie here, has a second light already or is one itself is a shot like
    others: two benches may have said it at once.
    """
    here = set(order)
    found: dict[str, str] = {}
    for sha256 in order:
        mine = _of(sha256, again)
        if mine.relit is None or mine.relit not in here or mine.relit in found:
            continue
        first = _of(mine.relit, again)
        if first.relit not in here and (first.of, first.turned) == (mine.of, mine.turned):
            found[mine.relit] = sha256
    return found


def together(order: Sequence[str], again: Mapping[str, Again]) -> list[str]:
    """The photos with those of the same parts where the first of them lies, one side after the other, and
    each second light after its first.

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
    first_of = {second: first for first, second in second_lights(order, again).items()}

    def where(sha256: str) -> tuple[int, bool, int, bool]:
        mine, lead = _of(sha256, again), first_of.get(sha256, sha256)
        return place[mine.of], mine.turned, order.index(lead), lead != sha256

    return sorted(order, key=where)


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
    if second_lights(order, again).get(order[n - 1]) == order[n]:
        return RELIT
    return SAME if one.turned == before.turned else TURNED


def with_beside(order: Sequence[str], again: Mapping[str, Again], n: int, what: str) -> dict[str, Again]:
    """What is said of all photos once that at place `n`, from 1 on, is said to show this beside the one
    before it. Photos of the same parts as it come along, unless it is taken away from them; its second light
    always does."""
    sha256, before = order[n], _of(order[n - 1], again)
    mine = _of(sha256, again)
    if what == OWN:
        said = {other: one for other, one in again.items() if other != sha256}
    elif mine.of == before.of:
        said = {**again, sha256: Again(before.of, before.turned != (what == TURNED))}
    else:
        side = (what == TURNED) != before.turned
        along = {
            other: replace(one, of=before.of, turned=one.turned != (side != mine.turned))
            for other in order
            if (one := _of(other, again)).of == mine.of
        }
        said = {**again, **along, sha256: Again(before.of, side)}
    if what == RELIT:
        # One photo has one second light and is none then; what was said before is a shot like others.
        first = order[n - 1]
        for other, one in said.items():
            if other == first or one.relit in (first, sha256):
                said[other] = replace(one, relit=None)
        said[sha256] = replace(said[sha256], relit=first)
    second = second_lights(order, again).get(sha256)
    if second is not None and what != RELIT:
        lead = _of(sha256, said)
        said[second] = Again(lead.of, lead.turned, sha256)
    return said


def in_pairs(order: Sequence[str], what: str) -> dict[str, Again]:
    """What is said of all photos where every second one shows this beside the one before it."""
    pairs = zip(order[::2], order[1::2], strict=False)
    return {b: Again(a, what == TURNED, a if what == RELIT else None) for a, b in pairs}


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
