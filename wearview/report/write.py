"""Writing the report's files."""

import zipfile
from collections.abc import Callable, Collection, Mapping
from pathlib import Path

from wearview.files import make_folder, whole_file, write_whole
from wearview.record import NOTHING_MORE, Known, Teardown
from wearview.report.parts_csv import findings_csv, measured_csv, parts_csv
from wearview.report.photos import PhotoView
from wearview.report.pictures import (
    PhotoSource,
    ReportPicture,
    graded_pictures,
    original_picture,
    report_pictures,
)
from wearview.report.shop import Shop
from wearview.report.templates import templates
from wearview.report.typeset import report_pdf
from wearview.report.view import ReportView, report_view, without_photos

# A fixed date in the ZIP: the same record gives the same bytes. The earliest that the format can hold.
_ZIP_DATE = (1980, 1, 1, 0, 0, 0)
NO_SHOP = Shop()

Tell = Callable[[str], None]


def write_report(
    teardown: Teardown,
    photo_bytes: PhotoSource,
    out: Path,
    *,
    shop: Shop = NO_SHOP,
    known: Known = NOTHING_MORE,
    originals: bool = False,
    left_out: Collection[str] = (),
    progress: Tell | None = None,
) -> list[Path]:
    """Write `report.html`, `report.pdf`, `photos.zip` and `parts.csv` into a folder.

    Parameters
    ----------
    teardown : Teardown
        From the store.
    photo_bytes : callable
        Gives the bytes of a kept photo or overlay by its sha256.
    out : Path
        Made if missing; files of these names are replaced.
    shop : Shop, optional
        Who hands the report over.
    known : Known, optional
        What the shop's record knows beside the teardown.
    originals : bool, optional
        Whether `photos.zip` holds the photos themselves beside the marked ones.
    left_out : collection of str, optional
        sha256 of photos whose pictures are not handed over.
    progress : callable, optional
        Called with a line of text before each step that takes time.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    OutputError
        When a kept photo is missing or altered, or a file cannot be written.
    """
    tell = progress or (lambda line: None)
    view = without_photos(report_view(teardown, shop, known), left_out)
    make_folder(out)
    pictures = report_pictures(view.photos, photo_bytes, tell)
    html = _html(view, pictures)
    pdf = report_pdf(view, pictures)
    write_whole(out / "report.html", html)
    write_whole(out / "report.pdf", pdf)
    write_whole(out / "parts.csv", parts_csv(teardown).encode("utf-8", "backslashreplace"))
    _write_archive(out / "photos.zip", view.photos, _tables(teardown), photo_bytes, originals, tell)
    return [out / name for name in ("report.html", "report.pdf", "photos.zip", "parts.csv")]


def counter_html(
    teardown: Teardown,
    photo_bytes: PhotoSource,
    *,
    shop: Shop = NO_SHOP,
    known: Known = NOTHING_MORE,
    left_out: Collection[str] = (),
) -> bytes:
    """The report to be read on a screen that is turned to the customer: what `report.html` says, in larger
    type, dark where the screen is.

    Parameters and errors are those of `write_report`.
    """
    view = without_photos(report_view(teardown, shop, known), left_out)
    return _html(view, report_pictures(view.photos, photo_bytes, lambda line: None), counter=True)


def _html(view: ReportView, pictures: Mapping[int, ReportPicture], *, counter: bool = False) -> bytes:
    html = templates().get_template("report.html").render(view=view, pictures=pictures, counter=counter)
    # A file name that is no text can still be shown, if not read.
    return html.encode("utf-8", "backslashreplace")


def _tables(teardown: Teardown) -> dict[str, str]:
    """What was found and measured beside the packs, by its file's name; what there is none of is left out."""
    found = {"findings.csv": findings_csv(teardown)} if teardown.inspections else {}
    return found | ({"measured.csv": measured_csv(teardown)} if teardown.measured else {})


def _write_archive(
    path: Path,
    photos: list[PhotoView],
    tables: dict[str, str],
    photo_bytes: PhotoSource,
    originals: bool,
    tell: Tell,
) -> None:
    with whole_file(path) as file, zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
        for name, text in tables.items():
            archive.writestr(zipfile.ZipInfo(name, _ZIP_DATE), text.encode("utf-8", "backslashreplace"))
        for photo in photos:
            tell(f"photos.zip: photo {photo.number} of {len(photos)}")
            for name, jpeg in graded_pictures(photo, photo_bytes):
                archive.writestr(zipfile.ZipInfo(name, _ZIP_DATE), jpeg)
            # A photo on which nothing was drawn is there as it is.
            if originals or photo.overlay_sha256 is None:
                name, jpeg = original_picture(photo, photo_bytes)
                archive.writestr(zipfile.ZipInfo(name, _ZIP_DATE), jpeg)
