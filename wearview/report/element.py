"""An element of the unit as the report shows it: its table, its photos, what was decided on it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import PureWindowsPath
from typing import Any

from wearview.files import base_name
from wearview.record import (
    PACK,
    Element,
    Grading,
    Known,
    PartLine,
    Teardown,
    Verdict,
    part_lines,
    unexpected_heat,
)
from wearview.report.before import BeforeView, before_view, lining_sentences
from wearview.report.packpic import PackPicture, pack_picture
from wearview.report.photos import PhotoView
from wearview.report.words import (
    CLEANEST_ONLY,
    PATTERNS,
    day,
    doubts,
    heat_news,
    known_problem,
    level_words,
    own_reference_words,
    places,
    reasons,
    reference_words,
    refused,
)
from wearview.terms import GAP, PROBLEMS, TWO_LIGHTS, Problem, how_many


@dataclass(frozen=True, slots=True, eq=False)
class PartView:
    """A row of an element's table.

    `doubts` explain a missing grade, and `refused` does so without what to do; `verdicts` are oldest first;
    `reference` is what it was compared with, where that is another clean lining than the element's.
    """

    label: str
    kind: str
    level: int | None
    name: str | None
    relative: bool
    because: tuple[str, ...]
    doubts: tuple[str, ...]
    refused: tuple[str, ...]
    photo_number: int
    verdicts: tuple[Verdict, ...]
    reference: str | None

    @property
    def seen(self) -> str:
        """The reason that decided its level."""
        return "".join(self.because[:1])

    @property
    def further(self) -> str:
        """Its other reasons; at level 0 nothing rests on them, and the page and parts.csv hold them."""
        return " ".join(self.because[1:]) if self.level else ""


@dataclass(frozen=True, slots=True)
class Glance:
    """An element in one line: its worst level, in words, and what else must be known at first sight."""

    level: int | None
    words: str
    asides: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Decided:
    """What was decided on some parts for one reason: "plates 1, 3" or "whole pack" or a name."""

    decision: str
    what: str
    reason: str | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ElementView:
    """An element of the unit with everything said about it; `news` is heat where none is expected."""

    name: str
    expected: str | None
    news: str | None
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
    before: BeforeView | None
    linings: tuple[str, ...]

    @property
    def compared(self) -> str:
        """What its linings were compared with, and when."""
        if self.grading is None or self.reference is None:
            return ""
        newest = (
            f" (newest of {self.times_graded} gradings; the earlier ones are kept)"
            if self.times_graded > 1
            else ""
        )
        own = own_reference_words(self.own_references)
        return f"{reference_words(self.reference)}{own}. Graded {day(self.grading.graded_at)}{newest}."

    @property
    def own_references(self) -> dict[str, tuple[str, ...]]:
        """What parts with a clean lining of their own were compared with: words to positions."""
        own: dict[str, tuple[str, ...]] = {}
        for part in self.parts:
            if part.reference is not None:
                own[part.reference] = (*own.get(part.reference, ()), part.label)
        return own

    @property
    def worst(self) -> PartView | None:
        """The part with the highest level; None when nothing was graded."""
        graded = [part for part in self.parts if part.level is not None]
        return max(graded, key=lambda part: part.level or 0, default=None)

    @property
    def glance(self) -> Glance:
        """The element in one line."""
        worst, parts = self.worst, self.parts
        pattern = [PATTERNS[self.pack["pattern"]]] if self.pack else []
        if worst is None:
            refusals = (*(part.refused for part in parts), *(photo.refused for photo in self.photos))
            why = dict.fromkeys(said for one in refusals for said in one)
            return Glance(None, "Cannot tell" if self.photos else "no photo", tuple(why))
        missed = [
            f"{len(ungraded)} of {how_many(len(of), what)} could not be graded"
            for what, of, ungraded in (
                ("part", parts, [part for part in parts if part.level is None]),
                ("photo", self.photos, [photo for photo in self.photos if photo.refused]),
            )
            if ungraded
        ]
        if worst.level == 0 and self.pack and not worst.relative:  # no plate of a clean pack is its worst
            return Glance(0, "Level 0", (*pattern, *missed))
        where = [". ".join([f"Position {worst.label}", *pattern])] if len(parts) > 1 else []
        against = [CLEANEST_ONLY] if worst.relative else []
        return Glance(worst.level, level_words(worst.level, worst.name), (*against, *where, *missed))


def element_view(teardown: Teardown, element: Element, first_number: int, known: Known) -> ElementView:
    """What a report shows of an element; its photos are numbered from `first_number` on."""
    lines = part_lines(element)
    photos = tuple(_photo_views(element, lines, first_number))
    numbers = {photo.sha256: photo.number for photo in photos}
    document = element.latest.document if element.latest else None
    return ElementView(
        name=element.name,
        expected=_expected(element),
        news=_news(element),
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
        before=before_view(teardown, element, known),
        linings=tuple(lining_sentences(element, known)),
    )


def _expected(element: Element) -> str | None:
    """When the element is applied and what the shop expects to see there, as far as it has said so."""
    applied, told = element.duty.applied, element.expectation
    said = [*([f"Applied: {applied}."] if applied else []), *([f"Expected here: {told}."] if told else [])]
    return " ".join(said) or None


def _news(element: Element) -> str | None:
    hot = tuple(line.label for line in unexpected_heat(element))
    return heat_news(hot) if hot else None


def _second_light(entry: dict[str, Any]) -> str | None:
    """The file of a photo's second light, where a lining was read with it."""
    methods = {part["glazing"]["method"] for part in entry["parts"] if part["glazing"]}
    second = entry.get("second_light")
    return base_name(second["file"]) if second and TWO_LIGHTS in methods else None


def _photo_views(element: Element, lines: list[PartLine], first_number: int) -> Iterator[PhotoView]:
    """Photos in the order of their first position; those without a part come last."""
    if element.latest is None:
        return
    labels: dict[str, list[str]] = {}
    for line in lines:
        labels.setdefault(line.photo["sha256"], []).append(line.label)
    by_id = {line.part["id"]: line.label for line in lines}
    for entry in element.latest.document["photos"]:
        again = [by_id[part["shot_of"]] for part in entry["parts"] if part.get("shot_of") in by_id]
        if again:
            labels.setdefault(entry["sha256"], []).extend(again)
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
            problems=(*map(known_problem, entry["quality"]["problems"]), *_gaps(lines, sha256)),
            second_light=_second_light(entry),
        )


def _gaps(lines: list[PartLine], sha256: str) -> Iterator[Problem]:
    """Where a plate may have been missed in a photo: for whoever looks at the photo, no word on the plate."""
    for line in lines:
        if line.photo["sha256"] == sha256 and GAP in line.part["problems"]:
            yield replace(PROBLEMS[GAP], text=f"Position {line.label}: {PROBLEMS[GAP].text}")


def _part_view(line: PartLine, numbers: dict[str, int]) -> PartView:
    grade = line.part["grade"] or {}
    return PartView(
        label=line.label,
        kind=line.part["kind"],
        level=line.level,
        name=grade.get("name"),
        relative=grade.get("relative", False),
        because=tuple(reasons(grade)),
        doubts=tuple(doubts(line.part, remedies=line.level is None)),
        refused=refused(line.part["problems"]) if line.level is None else (),
        photo_number=numbers[line.photo["sha256"]],
        verdicts=line.verdicts,
        reference=reference_words(own) if (own := line.part.get("reference")) else None,
    )


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
        yield _decision(list(group.values()), places(tuple(group)))
    for name, given in element.named_verdicts.items():
        if name != PACK:
            yield _decision([given[-1]], name)


def _decision(given: list[Verdict], what: str) -> Decided:
    notes = tuple(dict.fromkeys(v.note for v in given if v.note))
    return Decided(given[0].decision, what, given[0].reason, notes)
