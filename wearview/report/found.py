"""What stands beside the packs as the report shows it: findings with photos, measured values."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import PureWindowsPath

from wearview.files import base_name
from wearview.record import AttachedPhoto, CheckLine, Measured
from wearview.report.photos import PhotoView
from wearview.report.words import FOUND_WORDS, OUTCOME_WORDS, limit_words, signature


@dataclass(frozen=True, slots=True)
class FoundView:
    """An item beside the packs of which something was said, in words, with its photos."""

    item: str
    state: str
    note: str | None
    signature: str
    photos: tuple[PhotoView, ...]

    @property
    def pictured(self) -> str:
        """The numbers of its photos: ", photos 3, 4"; empty without one."""
        return _pictured(self.photos)


@dataclass(frozen=True, slots=True)
class MeasuredView:
    """A measured value in words."""

    what: str
    value: str
    tool: str
    limit: str
    outcome: str
    out_of_limit: bool
    note: str | None
    signature: str
    photos: tuple[PhotoView, ...]

    @property
    def pictured(self) -> str:
        """The numbers of its photos: ", photos 3, 4"; empty without one."""
        return _pictured(self.photos)


def found_views(lines: list[CheckLine], first_number: int) -> Iterator[FoundView]:
    """What was said of each item, its photos numbered on from the packs'."""
    number = first_number
    for said in (line.said for line in lines if line.said is not None):
        photos = tuple(_attached(said.item, photo, n) for n, photo in enumerate(said.photos, number))
        number += len(photos)
        state = FOUND_WORDS[said.outcome]
        yield FoundView(said.item, state, said.note, signature(said.by, said.said_at), photos)


def _attached(item: str, photo: AttachedPhoto, number: int) -> PhotoView:
    return PhotoView(
        number=number,
        element=item,
        file=base_name(photo.file),
        stem=PureWindowsPath(photo.file).stem,
        sha256=photo.sha256,
        overlay_sha256=None,
        taken_at=None,
        light=None,
        positions=(),
        problems=(),
    )


def measured_views(values: Iterable[Measured], first_number: int) -> Iterator[MeasuredView]:
    """The measured values, their photos numbered on."""
    number = first_number
    for one in values:
        photos = tuple(_attached(one.what, photo, n) for n, photo in enumerate(one.photos, number))
        number += len(photos)
        yield MeasuredView(
            what=one.what,
            value=one.value.both,
            tool=one.tool,
            limit=limit_words(one),
            outcome=OUTCOME_WORDS[one.outcome],
            out_of_limit=one.out_of_limit,
            note=one.note,
            signature=signature(one.by, one.measured_at),
            photos=photos,
        )


def _pictured(photos: Sequence[PhotoView]) -> str:
    numbers = ", ".join(str(photo.number) for photo in photos)
    return f", photo{'s' if len(photos) > 1 else ''} {numbers}" if numbers else ""
