"""What the report shows, as plain values that a template can lay out in any format."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import PureWindowsPath
from typing import Any

from wearview import __version__
from wearview.record import PACK, Element, Grading, PartLine, Teardown, Verdict, part_lines
from wearview.report.packpic import PackPicture, pack_picture
from wearview.terms import CAUTIONS, LINING_LEVELS, PROBLEMS, STEEL_LEVELS, Problem


@dataclass(frozen=True, slots=True)
class PhotoView:
    """A photo: `number` counts through all elements, `positions` are the labels of its parts."""

    number: int
    element: str
    file: str
    stem: str
    sha256: str
    overlay_sha256: str | None
    taken_at: str | None
    light: str
    positions: tuple[str, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True, eq=False)
class PartView:
    """A row of an element's table. `problems` explain a missing grade; `verdicts` are oldest first."""

    label: str
    kind: str
    level: int | None
    name: str | None
    relative: bool
    because: tuple[str, ...]
    problems: tuple[Problem, ...]
    photo_number: int
    verdicts: tuple[Verdict, ...]


@dataclass(frozen=True, slots=True)
class Decided:
    """What was decided on some parts for one reason: "plates 1, 3" or "whole pack" or a name."""

    decision: str
    what: str
    reason: str | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ElementView:
    """An element of the unit with everything said about it."""

    name: str
    expectation: str | None
    grading: Grading | None
    times_graded: int
    reference: dict[str, Any] | None
    pack: dict[str, Any] | None
    picture: PackPicture | None
    photos: tuple[PhotoView, ...]
    parts: tuple[PartView, ...]
    pack_verdicts: tuple[Verdict, ...]
    named_verdicts: dict[str, tuple[Verdict, ...]]
    verdicts_on_earlier_photos: tuple[Verdict, ...]
    decided: tuple[Decided, ...]

    @property
    def worst(self) -> PartView | None:
        """The part with the highest level; None when nothing was graded."""
        graded = [part for part in self.parts if part.level is not None]
        return max(graded, key=lambda part: part.level or 0, default=None)

    @property
    def ungraded(self) -> tuple[PartView, ...]:
        """Parts that could not be graded."""
        return tuple(part for part in self.parts if part.level is None)


@dataclass(frozen=True, slots=True, eq=False)
class ReportView:
    """The whole report."""

    teardown: Teardown
    opened: str
    elements: tuple[ElementView, ...]
    cautions: tuple[str, ...]
    lining_levels: tuple[str, ...]
    steel_levels: tuple[str, ...]
    program_version: str

    @property
    def photos(self) -> list[PhotoView]:
        """All photos in the order of their numbers."""
        return [photo for element in self.elements for photo in element.photos]


def report_view(teardown: Teardown) -> ReportView:
    """What a report of this teardown shows: the newest grading of each element beside the verdicts."""
    elements: list[ElementView] = []
    number = 1
    for element in teardown.elements:
        elements.append(_element_view(element, number))
        number += len(elements[-1].photos)
    return ReportView(
        teardown, day(teardown.opened_at), tuple(elements), CAUTIONS, LINING_LEVELS, STEEL_LEVELS, __version__
    )


def day(moment: str) -> str:
    """Local date and time to the minute of an ISO 8601 text with its offset."""
    return datetime.fromisoformat(moment).astimezone().strftime("%Y-%m-%d %H:%M")


def base_name(path: str) -> str:
    """The file's own name, after either kind of slash: the shop's folders stay in the shop."""
    return PureWindowsPath(path).name


def _element_view(element: Element, first_number: int) -> ElementView:
    lines = part_lines(element)
    photos = tuple(_photo_views(element, lines, first_number))
    numbers = {photo.sha256: photo.number for photo in photos}
    document = element.latest.document if element.latest else None
    return ElementView(
        name=element.name,
        expectation=element.expectation,
        grading=element.latest,
        times_graded=len(element.gradings),
        reference=document["reference"] if document else None,
        pack=document["pack"] if document else None,
        picture=pack_picture([line.part for line in lines]),
        photos=photos,
        parts=tuple(_part_view(line, numbers) for line in lines),
        pack_verdicts=element.pack_verdicts,
        named_verdicts=element.named_verdicts,
        verdicts_on_earlier_photos=element.verdicts_on_earlier_photos,
        decided=tuple(_decided(element, lines)),
    )


def _photo_views(element: Element, lines: list[PartLine], first_number: int) -> Iterator[PhotoView]:
    """Photos in the order of their first position; those without a part come last."""
    if element.latest is None:
        return
    labels: dict[str, list[str]] = {}
    for line in lines:
        labels.setdefault(line.photo["sha256"], []).append(line.label)
    order = list(labels)
    entries = {entry["sha256"]: entry for entry in element.latest.document["photos"]}
    order += [sha256 for sha256 in entries if sha256 not in labels]
    for number, sha256 in enumerate(order, first_number):
        entry = entries[sha256]
        yield PhotoView(
            number=number,
            element=element.name,
            file=base_name(entry["file"]),
            stem=PureWindowsPath(entry["file"]).stem,
            sha256=sha256,
            overlay_sha256=element.latest.overlays.get(sha256),
            taken_at=entry["taken_at"],
            light=entry["light"]["method"],
            positions=tuple(labels.get(sha256, ())),
            problems=_known(entry["quality"]["problems"]),
        )


def _part_view(line: PartLine, numbers: dict[str, int]) -> PartView:
    grade = line.part["grade"] or {}
    return PartView(
        label=line.label,
        kind=line.part["kind"],
        level=line.level,
        name=grade.get("name"),
        relative=grade.get("relative", False),
        because=tuple(grade.get("because", ())),
        problems=_known(line.part["problems"]),
        photo_number=numbers[line.photo["sha256"]],
        verdicts=line.verdicts,
    )


def _known(names: list[str]) -> tuple[Problem, ...]:
    """Problems by name; one that a newer program listed is shown by its name alone."""
    return tuple(PROBLEMS.get(name) or Problem(name, f"{name.capitalize()}.", "", False) for name in names)


def _decided(element: Element, lines: list[PartLine]) -> Iterator[Decided]:
    """The verdicts that hold now: the pack, its parts grouped by decision and reason, named parts."""
    if element.pack_verdicts:
        yield _decision([element.pack_verdicts[-1]], "the whole pack")
    groups: dict[tuple[str, str | None], dict[str, Verdict]] = {}
    for line in lines:
        if line.verdict is not None:
            key = (line.verdict.decision, line.verdict.reason)
            groups.setdefault(key, {})[line.label] = line.verdict
    for group in groups.values():
        word = "position" if len(group) == 1 else "positions"
        yield _decision(list(group.values()), f"{word} {', '.join(group)}")
    for name, given in element.named_verdicts.items():
        if name != PACK:
            yield _decision([given[-1]], name)


def _decision(given: list[Verdict], what: str) -> Decided:
    notes = tuple(dict.fromkeys(v.note for v in given if v.note))
    return Decided(given[0].decision, what, given[0].reason, notes)
