"""What the report shows, as plain values that a template can lay out in any format."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from wearview import __version__
from wearview.record import NOTHING_MORE, Known, Teardown, check_lines, unexpected_heat
from wearview.report.element import ElementView, element_view
from wearview.report.found import FoundView, MeasuredView, found_views, measured_views
from wearview.report.photos import PhotoView
from wearview.report.shop import Shop
from wearview.report.words import day
from wearview.terms import CAUTIONS, LINING_LEVELS, STEEL_LEVELS


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
        elements.append(element_view(teardown, element, number, known))
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
