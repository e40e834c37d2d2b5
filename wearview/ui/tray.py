"""The tray of an element: the photos it was given, graded or not, and how a person laid them out.

Every photo is on disk before anything else happens to it, so that a reload, a closed phone or a stopped
program loses none. The tray itself is journals of one line for each thing said: lines are added, never
changed, so two phones, and two benches that share a record, can add to one tray at the same time.
"""

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import PureWindowsPath
from typing import Any

from wearview.record import Shows
from wearview.store import Store, keep_file
from wearview.ui.again import Again, second_lights, shows, together
from wearview.ui.journal import add_line, read_lines
from wearview.ui.said import AS_FOUND, BAND, NO_PART, PUT_RIGHT, RIMS, Point, Points, Said, put_right

BY_NAME, BY_TIME, AS_GIVEN, BY_HAND = "name", "time", "given", "hand"
AGAIN = "again"  # in the journal: that a photo shows the parts of another one again
ORDERS = (BY_NAME, BY_TIME, AS_GIVEN, BY_HAND)


@dataclass(frozen=True, slots=True)
class ElementName:
    """Which element of which teardown."""

    teardown: str
    element: str


@dataclass(frozen=True, slots=True)
class GivenPhoto:
    """A photo as it came: its own name without folders, the sha256 of its bytes, when it came and, once it
    was read, when the camera took it."""

    sha256: str
    name: str
    given_at: str
    taken_at: str | None = None


@dataclass(frozen=True, slots=True)
class Layout:
    """How the photos lie, as `pipeline.grade_photos` takes it.

    Attributes
    ----------
    order : str
        One of `ORDERS`.
    hand : tuple of str
        sha256 of photos in the order set by hand; the others follow as they came.
    first : str
        "apply" or "reaction": where the photos begin.
    apply_end : str or None
        Where the apply end lies in a photo of several parts.
    kinds : tuple of str or None
        Of the parts in the order found, where a person stated them.
    positions : tuple of int or None
        The same for positions.
    """

    order: str = BY_NAME
    hand: tuple[str, ...] = ()
    first: str = "apply"
    apply_end: str | None = None
    kinds: tuple[str, ...] | None = None
    positions: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class Tray:
    """What lies in a tray.

    Attributes
    ----------
    photos : tuple of GivenPhoto
        In position order as laid out.
    reference : GivenPhoto or None
        Photo of a clean plate of the same lining.
    lining : str or None
        The lining of the shop's library that it is, where a person said so instead of giving that photo.
    layout : Layout
    said : mapping of str to Said
        What a person put right, by the photo's sha256.
    again : mapping of str to Again
        Which photos show parts of others again, by their sha256.
    graded_as, graded_alone : str or None
        `signature` and `alone` of what was last graded and stored.
    """

    photos: tuple[GivenPhoto, ...] = ()
    reference: GivenPhoto | None = None
    lining: str | None = None
    layout: Layout = field(default_factory=Layout)
    said: Mapping[str, Said] = field(default_factory=dict)
    again: Mapping[str, Again] = field(default_factory=dict)
    graded_as: str | None = None
    graded_alone: str | None = None

    @property
    def clean(self) -> str | None:
        """What its linings are compared with, by its name; None where nobody has said."""
        return self.reference.name if self.reference else self.lining

    @property
    def alone(self) -> str:
        """Changes with everything beside its own pixels that one photo's grading depends on."""
        return json.dumps([*self._compared, self.layout.apply_end])

    @property
    def signature(self) -> str:
        """Changes with everything that a grading of this tray depends on."""
        layout = asdict(replace(self.layout, order="", hand=()))
        photos = [
            [photo.sha256, self.said.get(photo.sha256, Said()).told, *self._told_again(photo.sha256)]
            for photo in self.photos
        ]
        return hashlib.sha256(json.dumps([photos, *self._compared, layout]).encode()).hexdigest()

    @property
    def _compared(self) -> list[str | None]:
        """The photo of a clean plate and, only where one was named, the lining: as before one could be."""
        return [self.reference.sha256 if self.reference else None, *([self.lining] if self.lining else [])]

    def _told_again(self, sha256: str) -> list[Any]:
        """Nothing for a photo of parts of its own, as before this could be said: what was graded then is not
        graded again."""
        return [self.again[sha256].told] if sha256 in self.again else []

    @property
    def shows(self) -> tuple[Shows, ...]:
        """What each photo shows, as `pipeline.grade_photos` takes it."""
        return shows([photo.sha256 for photo in self.photos], self.again, self.layout.first)

    @property
    def second_lights(self) -> Mapping[str, GivenPhoto]:
        """By its sha256, of each photo that has one, the photo for which only the lamp was moved."""
        if not any(one.relit for one in self.again.values()):
            return {}  # as in most trays, and asked for each photo at every tap
        by_sha256 = {photo.sha256: photo for photo in self.photos}
        found = second_lights(list(by_sha256), self.again)
        return {first: by_sha256[second] for first, second in found.items()}

    @property
    def views(self) -> tuple[tuple[GivenPhoto, Shows], ...]:
        """The photos that are no second light of another one, and what each shows."""
        second = {photo.sha256 for photo in self.second_lights.values()}
        pairs = zip(self.photos, self.shows, strict=True)
        return tuple((photo, one) for photo, one in pairs if photo.sha256 not in second)

    def first_light(self, sha256: str) -> GivenPhoto | None:
        """The photo whose second light a photo is; None where it is none."""
        lights = self.second_lights
        return next(
            (p for p in self.photos if p.sha256 in lights and lights[p.sha256].sha256 == sha256), None
        )


def add_photo(store: Store, place: ElementName, name: str, data: bytes) -> GivenPhoto:
    """Put a photo into a tray; it is on disk when this returns. The same photo twice lies there once.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    photo = _kept(store, name, data)
    _say(store, place, "photo", asdict(photo))
    return photo


def set_reference(store: Store, place: ElementName, name: str, data: bytes) -> GivenPhoto:
    """Give a tray the photo of a clean plate of its lining."""
    photo = _kept(store, name, data)
    _say(store, place, "reference", asdict(photo))
    return photo


def use_reference(store: Store, place: ElementName, photo: GivenPhoto | None) -> None:
    """Give a tray a reference that is kept already, or none."""
    _say(store, place, "reference", None if photo is None else asdict(photo))


def say_lining(store: Store, place: ElementName, lining: str | None) -> None:
    """Say which lining of the shop's library it is, in place of a photo of a clean plate; None: not known."""
    _say(store, place, "lining", lining)


def leave_out(store: Store, place: ElementName, sha256: str) -> None:
    """Take a photo out of a tray; what was stored of it before stays in the record."""
    _say(store, place, "out", {"sha256": sha256})


def replace_photo(store: Store, place: ElementName, sha256: str, name: str, data: bytes) -> GivenPhoto:
    """Put a photo in the place of one that could not be used."""
    lying = read_tray(store, place)
    new = add_photo(store, place, name, data)
    if new.sha256 == sha256:
        return new
    leave_out(store, place, sha256)
    if sha256 in lying.again or any(sha256 in (one.of, one.relit) for one in lying.again.values()):
        said = {**read_tray(store, place).again, new.sha256: lying.again.get(sha256, Again(sha256))}
        for other, one in said.items():
            if one.relit == sha256:
                said[other] = replace(one, relit=new.sha256)
        say_again(store, place, said)
    hand = tuple(new.sha256 if photo.sha256 == sha256 else photo.sha256 for photo in lying.photos)
    lay_out(store, place, replace(lying.layout, order=BY_HAND, hand=hand))
    return new


def lay_out(store: Store, place: ElementName, layout: Layout) -> None:
    """Say how the photos of a tray lie."""
    _say(store, place, "layout", asdict(layout))


def lay_otherwise(store: Store, place: ElementName, layout: Layout) -> None:
    """Say that the photos lie otherwise; kinds and positions were stated for them as they lay."""
    lay_out(store, place, replace(layout, kinds=None, positions=None))


def say_rims(store: Store, place: ElementName, sha256: str, outer: Points, inner: Points) -> None:
    """Set the rims of a plate in a photo."""
    _say(store, place, RIMS, {"sha256": sha256, "outer": outer, "inner": inner})


def say_band(store: Store, place: ElementName, sha256: str, one: Points, other: Points) -> None:
    """Set the long edges of a band's lining in a photo."""
    _say(store, place, BAND, {"sha256": sha256, "edges": [one, other]})


def say_no_part(store: Store, place: ElementName, sha256: str, middle: Point) -> None:
    """Say that what was found at a place of a photo is no part."""
    _say(store, place, NO_PART, {"sha256": sha256, "at": middle})


def say_nothing(store: Store, place: ElementName, sha256: str) -> None:
    """Take back what was put right in a photo."""
    _say(store, place, AS_FOUND, {"sha256": sha256})


def say_again(store: Store, place: ElementName, again: Mapping[str, Again]) -> None:
    """Say which photos show parts of others again; all others show parts of their own."""
    before = read_tray(store, place).again
    for sha256 in dict.fromkeys([*before, *again]):
        now = again.get(sha256)
        if now != before.get(sha256):
            # The second light stands apart: a program from before it reads such a photo as one more shot.
            told = {
                "sha256": sha256,
                "again": None if now is None else {"of": now.of, "turned": now.turned},
                "relit": None if now is None else now.relit,
            }
            _say(store, place, AGAIN, told)


def note_taken(store: Store, place: ElementName, sha256: str, taken_at: str) -> None:
    """Note when the camera took a photo."""
    _say(store, place, "taken", {"sha256": sha256, "taken_at": taken_at})


def note_graded(store: Store, place: ElementName, lying: Tray) -> None:
    """Note that a tray was graded and stored as it lay."""
    _say(store, place, "graded", {"signature": lying.signature, "alone": lying.alone})


def note_lost(store: Store, place: ElementName) -> None:
    """Note that the record does not hold what was graded of a tray."""
    _say(store, place, "graded", {"signature": None, "alone": None})


def read_tray(store: Store, place: ElementName) -> Tray:
    """What lies in a tray now; an empty one where nothing was ever given.

    Raises
    ------
    OutputError
        When its file cannot be read.
    """
    photos: dict[str, GivenPhoto] = {}
    again: dict[str, Again] = {}
    tray = Tray()
    for what, said in read_lines(store, _journal(place)):
        if what in ("photo", "out", AGAIN):
            # Kinds and positions were stated for the photos as they lay; other photos have other parts.
            tray = replace(tray, layout=replace(tray.layout, kinds=None, positions=None))
        if what == "photo":
            photos.setdefault(said["sha256"], GivenPhoto(**said))
        elif what == "out":
            photos.pop(said["sha256"], None)
            again.pop(said["sha256"], None)
        elif what == AGAIN:
            again.pop(said["sha256"], None)
            if said["again"] is not None:
                again[said["sha256"]] = Again(**said["again"], relit=said.get("relit"))
        elif what in PUT_RIGHT:
            before = tray.said.get(said["sha256"], Said())
            tray = replace(tray, said={**tray.said, said["sha256"]: put_right(before, what, said)})
        elif what == "taken" and said["sha256"] in photos:
            photos[said["sha256"]] = replace(photos[said["sha256"]], taken_at=said["taken_at"])
        elif what == "reference":
            tray = replace(tray, reference=None if said is None else GivenPhoto(**said), lining=None)
        elif what == "lining":
            tray = replace(tray, reference=None, lining=said)
        elif what == "layout":
            tray = replace(tray, layout=_layout(said))
        elif what == "graded":
            tray = replace(tray, graded_as=said["signature"], graded_alone=said["alone"])
    order = [photo.sha256 for photo in _in_order(list(photos.values()), tray.layout)]
    return replace(tray, photos=tuple(photos[sha256] for sha256 in together(order, again)), again=again)


def _in_order(photos: list[GivenPhoto], layout: Layout) -> list[GivenPhoto]:
    if layout.order == BY_NAME:
        return sorted(photos, key=lambda photo: _natural(photo.name))
    if layout.order == BY_TIME:
        return sorted(photos, key=lambda photo: photo.taken_at or photo.given_at)
    if layout.order == BY_HAND:
        place = {sha256: n for n, sha256 in enumerate(layout.hand)}
        return sorted(photos, key=lambda photo: place.get(photo.sha256, len(place)))
    return photos


def _natural(name: str) -> list[tuple[int, str]]:
    """A sort key under which photo 2 comes before photo 10."""
    pieces = re.split(r"(\d+)", name)
    return [(int(piece), "") if piece.isdecimal() else (-1, piece.lower()) for piece in pieces]


def _layout(said: dict[str, Any]) -> Layout:
    def tupled(value: Any) -> Any:
        return tuple(value) if isinstance(value, list) else value

    return Layout(**{name: tupled(value) for name, value in said.items()})


def _kept(store: Store, name: str, data: bytes) -> GivenPhoto:
    plain = PureWindowsPath(name).name or "photo"
    return GivenPhoto(keep_file(store, data), plain, datetime.now(UTC).isoformat(timespec="seconds"))


def _journal(place: ElementName) -> str:
    """What the element's journals are called: its names may hold what no file name may."""
    return hashlib.sha256(json.dumps([place.teardown, place.element]).encode()).hexdigest()[:32]


def _say(store: Store, place: ElementName, what: str, said: Any) -> None:
    add_line(store, _journal(place), what, said)
