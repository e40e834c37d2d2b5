"""What the report shows, as plain values that a template can lay out in any format."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import PureWindowsPath
from typing import Any

from wearview import __version__
from wearview.files import base_name
from wearview.record import (
    NOTHING_MORE,
    PACK,
    Element,
    Grading,
    Known,
    PartLine,
    Teardown,
    Verdict,
    check_lines,
    part_lines,
    unexpected_heat,
)
from wearview.report.before import BeforeView, before_view, lining_sentences
from wearview.report.found import FoundView, MeasuredView, found_views, measured_views
from wearview.report.packpic import PackPicture, pack_picture
from wearview.report.photos import PhotoView, problem_words
from wearview.report.shop import Shop
from wearview.report.words import (
    CLEANEST_ONLY,
    PATTERNS,
    day,
    heat_news,
    level_words,
    own_reference_words,
    places,
    reference_words,
)
from wearview.terms import CAUTIONS, GAP, LINING_LEVELS, PROBLEMS, STEEL_LEVELS, TWO_LIGHTS, Problem


@dataclass(frozen=True, slots=True, eq=False)
class PartView:
    """A row of an element's table.

    `problems` explain a missing grade; `verdicts` are oldest first; `reference` is what it was compared with,
    where that is another clean lining than the element's.
    """

    label: str
    kind: str
    level: int | None
    name: str | None
    relative: bool
    because: tuple[str, ...]
    problems: tuple[Problem, ...]
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

    @property
    def said_of_problems(self) -> tuple[str, ...]:
        """What casts doubt on its level; where there is none, also what to do."""
        return tuple(problem_words(problem, remedy=self.level is None) for problem in self.problems)


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
            why = dict.fromkeys(p.text for photo in self.photos for p in photo.problems if p.refuses)
            return Glance(None, "Cannot tell" if self.photos else "no photo", tuple(why))
        ungraded = sum(part.level is None for part in parts)
        missed = [f"{ungraded} of {len(parts)} could not be graded"] if ungraded else []
        if worst.level == 0 and self.pack and not worst.relative:  # no plate of a clean pack is its worst
            return Glance(0, "Level 0", (*pattern, *missed))
        where = [". ".join([f"Position {worst.label}", *pattern])] if len(parts) > 1 else []
        against = [CLEANEST_ONLY] if worst.relative else []
        return Glance(worst.level, level_words(worst.level, worst.name), (*against, *where, *missed))


@dataclass(frozen=True, slots=True, eq=False)
class ReportView:
    """The whole report; `moment` is when the last entry that it shows was made, ISO 8601."""

    teardown: Teardown
    shop: Shop
    opened: str
    moment: str
    elements: tuple[ElementView, ...]
    found: tuple[FoundView, ...]
    left: tuple[str, ...]
    measured: tuple[MeasuredView, ...]
    earlier: tuple[Teardown, ...]
    cautions: tuple[str, ...]
    lining_levels: tuple[str, ...]
    steel_levels: tuple[str, ...]
    program_version: str

    @property
    def facts(self) -> list[tuple[str, str]]:
        """The job: label and value of what is known of it."""
        job = self.teardown
        facts = [("Unit", job.unit), ("Serial", job.serial), ("Customer", job.customer)]
        mileage = job.mileage.both if job.mileage else None
        before = ", ".join(f"{t.name} ({t.opened_at[:10]})" for t in self.earlier)
        facts += [("Mileage", mileage), ("Customer's wish", job.wish), ("Opened", self.opened)]
        facts += [("Opened before", before), ("Record as of", day(self.moment))]
        return [(label, value) for label, value in facts if value]

    @property
    def versions(self) -> list[tuple[str, list[tuple[str, str]]]]:
        """What graded the elements: a sentence for each program and rules, and what was hashed, with hash."""
        made: dict[str, list[tuple[str, str]]] = {}
        for element in self.elements:
            if element.grading is not None:
                document = element.grading.document
                program, rules = document["program"], document["rules"]
                said = f"Graded by {program['name']} {program['version']} with {rules['id']}:"
                hashes = made.setdefault(said, [(rules["id"], rules["sha256"])])
                hashes.append((f"document of {element.name}", element.grading.document_sha256))
        return list(made.items())

    @property
    def written_by(self) -> str:
        """What wrote the report, and what comes with it."""
        tables = " and tables of what stands beside the packs" if self.found or self.measured else ""
        return (
            f"Report written by wearview {self.program_version}. photos.zip holds the photos without "
            f"location data{tables}, parts.csv every measured value of the graded parts."
        )

    @property
    def photos(self) -> list[PhotoView]:
        """All photos in the order of their numbers."""
        of_elements = (photo for element in self.elements for photo in element.photos)
        return [*of_elements, *self.found_photos, *self.measured_photos]

    @property
    def found_photos(self) -> list[PhotoView]:
        """The photos of what was found beside the packs."""
        return [photo for found in self.found for photo in found.photos]

    @property
    def measured_photos(self) -> list[PhotoView]:
        """The photos of measured values."""
        return [photo for one in self.measured for photo in one.photos]


def report_view(teardown: Teardown, shop: Shop, known: Known = NOTHING_MORE) -> ReportView:
    """What a report of this teardown shows: the newest grading of each element beside the verdicts.

    Elements with heat where none is expected come first, the others as they came.
    """
    elements: list[ElementView] = []
    number = 1
    for element in sorted(teardown.elements, key=lambda element: not unexpected_heat(element)):
        elements.append(_element_view(teardown, element, number, known))
        number += len(elements[-1].photos)
    lines = check_lines(teardown.checklist, teardown.inspections)
    found = tuple(found_views(lines, number))
    number += sum(len(one.photos) for one in found)
    return ReportView(
        teardown=teardown,
        shop=shop,
        opened=day(teardown.opened_at),
        moment=max(_moments(teardown)),
        elements=tuple(elements),
        found=found,
        # Of a checklist that nobody has begun there is nothing to tell.
        left=tuple(line.item for line in lines if line.said is None) if teardown.inspections else (),
        measured=tuple(measured_views(teardown.measured, number)),
        earlier=known.earlier,
        cautions=CAUTIONS,
        lining_levels=LINING_LEVELS,
        steel_levels=STEEL_LEVELS,
        program_version=__version__,
    )


def without_photos(view: ReportView, left_out: Collection[str]) -> ReportView:
    """The report without the pictures of some photos, by sha256; what they show stays in its tables."""
    return replace(
        view,
        elements=tuple(replace(shown, photos=_kept(shown.photos, left_out)) for shown in view.elements),
        found=tuple(replace(shown, photos=_kept(shown.photos, left_out)) for shown in view.found),
        measured=tuple(replace(shown, photos=_kept(shown.photos, left_out)) for shown in view.measured),
    )


def _kept(photos: tuple[PhotoView, ...], left_out: Collection[str]) -> tuple[PhotoView, ...]:
    return tuple(photo for photo in photos if photo.sha256 not in left_out)


def _moments(teardown: Teardown) -> Iterator[str]:
    """When each entry of the record was made."""
    yield teardown.opened_at
    for element in teardown.elements:
        yield from (grading.graded_at for grading in element.gradings)
        yield from (verdict.given_at for verdict in element.verdicts)
    yield from (said.said_at for said in teardown.inspections)
    yield from (one.measured_at for one in teardown.measured)


def _element_view(teardown: Teardown, element: Element, first_number: int, known: Known) -> ElementView:
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
            problems=(*_known(entry["quality"]["problems"]), *_gaps(lines, sha256)),
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
        because=tuple(_reasons(grade)),
        problems=_known([name for name in line.part["problems"] if name != GAP]),
        photo_number=numbers[line.photo["sha256"]],
        verdicts=line.verdicts,
        reference=reference_words(own) if (own := line.part.get("reference")) else None,
    )


def _reasons(grade: dict[str, Any]) -> Iterator[str]:
    """A grade's reasons, a number and its per cent sign on one line, without what stands beside the level."""
    for said in grade.get("because", ()):
        if said.rstrip(".").lower() != CLEANEST_ONLY:
            yield said.replace(" %", "\u00a0%")


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
        yield _decision(list(group.values()), places(tuple(group)))
    for name, given in element.named_verdicts.items():
        if name != PACK:
            yield _decision([given[-1]], name)


def _decision(given: list[Verdict], what: str) -> Decided:
    notes = tuple(dict.fromkeys(v.note for v in given if v.note))
    return Decided(given[0].decision, what, given[0].reason, notes)
