"""What was found and measured beside the packs, in every file of the report."""

import csv
import io
import zipfile
from dataclasses import replace

import pytest

from tests import documents
from tests.stages.test_report import element, page, teardown
from tests.stages.test_report_pdf import HOSTILE, letters, pages
from wearview.record import AttachedPhoto, Inspection, measured_from
from wearview.report import write_report

WHEN = "2026-01-02T03:04:05+00:00"
SCORED = documents.jpeg(40)
OTHER = documents.jpeg(60)
GAP = documents.jpeg(70)
GAP_SHA256 = documents.sha256(GAP)


def value(what, number, **limit):
    return measured_from(what, number, "in", "feeler gauge", by="Kim", measured_at=WHEN, **limit)


def found(item, outcome, note=None, *photos):
    kept = tuple(AttachedPhoto(name, documents.sha256(data)) for name, data in photos)
    return Inspection(item, outcome, "Kim", note, WHEN, kept)


@pytest.fixture
def job():
    """A teardown of one pack in two photos, with findings and measured values."""
    return replace(
        teardown(element(documents.hot_pack()[0])),
        checklist=("pump pocket", "servo bores", "bushings"),
        inspections=(
            found("pump pocket", "found", "deeply scored", ("pump.jpg", SCORED), ("/home/kim/p2.jpg", OTHER)),
            found("servo bores", "not-looked-at"),
            found("output shaft", "nothing-found"),
        ),
        measured=(
            value("forward clearance", "3/64", most="1.1 mm", limit_from="an invented note"),
            replace(value("tip gap", "0.004"), photos=(AttachedPhoto("/home/kim/gap.jpg", GAP_SHA256),)),
        ),
    )


def write(job, folder, **options):
    photos = documents.hot_pack()[1] | {documents.sha256(data): data for data in (SCORED, OTHER, GAP)}
    write_report(job, photos.__getitem__, folder, **options)
    return folder


def test_page_and_paper_tell_found_left_out_and_not_done_apart(job, tmp_path):
    folder = write(job, tmp_path)
    html = " ".join(page(folder).text.split())
    paper = " ".join(pages(folder)[1])
    for said in (
        "Found, photos 3, 4",
        "deeply scored",
        "Looked at, nothing found",
        "Not looked at, left out on purpose",
        "Not done, nothing is noted of: bushings.",
        "Photo 3: pump pocket",
        "Photo 5: tip gap",
        "3/64 in (1.190625 mm)",
        "at most 1.1 mm (an invented note)",
        "Out of limit: more than allowed",
        "no limit to compare with",
    ):
        assert letters(said) in letters(html), said
        assert letters(said) in letters(paper), said
    assert "/home" not in html + paper


def test_the_archive_has_the_photos_and_the_tables(job, tmp_path):
    with zipfile.ZipFile(write(job, tmp_path) / "photos.zip") as archive:
        names = archive.namelist()
        rows = {
            name: list(csv.DictReader(io.StringIO(archive.read(name).decode())))
            for name in ("findings.csv", "measured.csv")
        }
        originals = [archive.read(name) for name in names if "pump" in name]
    assert len(originals) == 2
    assert not any(b"Camera" in data for data in originals)
    assert [(row["item"], row["state"]) for row in rows["findings.csv"]] == [
        ("pump pocket", "found"),
        ("servo bores", "not-looked-at"),
        ("bushings", "not-done"),
        ("output shaft", "nothing-found"),
    ]
    clearance, gap = rows["measured.csv"]
    # A spreadsheet would take 3/64 for a date.
    assert (clearance["value"], clearance["unit"], clearance["mm"]) == ("0.046875", "in", "1.190625")
    assert (clearance["most"], clearance["outcome"]) == ("1.1 mm", "out of limit: over")
    assert (gap["most"], gap["limit_from"], gap["outcome"]) == ("", "", "")
    assert (clearance["photo_sha256"], gap["photo_sha256"]) == ("", GAP_SHA256)
    assert [name for name in names if "gap" in name] == ["originals/05-tip-gap-gap.jpg"]


def test_without_findings_and_values_there_is_no_word_of_them(job, tmp_path):
    bare = replace(job, inspections=(), measured=())
    folder = write(bare, tmp_path)
    text = page(folder).text
    assert "Beside the packs" not in text
    assert "Measured" not in text
    with zipfile.ZipFile(folder / "photos.zip") as archive:
        assert not [name for name in archive.namelist() if name.endswith(".csv")]


def test_a_findings_photo_may_be_left_out(job, tmp_path):
    folder = write(job, tmp_path, left_out={documents.sha256(SCORED), GAP_SHA256})
    assert "Photo 5" not in page(folder).text
    assert "Found, photo 4" in " ".join(page(folder).text.split()).replace(" ,", ",")
    with zipfile.ZipFile(folder / "photos.zip") as archive:
        assert len([name for name in archive.namelist() if "pump" in name]) == 1


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", *HOSTILE])
def test_what_was_typed_is_shown_as_text(job, tmp_path, text):
    one = replace(job.measured[0], what=text, tool=text, note=text, limit_from=text)
    hostile = replace(
        job, measured=(one,), inspections=(found(text, "found", text),), checklist=(text, "x" + text)
    )
    folder = write(hostile, tmp_path)
    assert "script" not in page(folder).tags
    assert text in page(folder).text
    assert letters(text) in letters(" ".join(pages(folder)[1]))
