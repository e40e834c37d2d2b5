"""The customer's report, made from a record of hand-written gradings."""

import base64
import csv
import html.parser
import io
import re
import zipfile
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from tests import documents
from wearview.errors import OutputError, StoreError
from wearview.palette import LEVEL_COLOURS
from wearview.record import Duty, Element, Grading, Teardown, Verdict
from wearview.report import write_report
from wearview.report.shop import Shop
from wearview.report.view import report_view
from wearview.report.words import doubts, photo_refused, refused
from wearview.terms import CAUTIONS, GAP, NOT_RECOGNISED, PROBLEMS

WHEN = "2024-05-03T10:00:00+00:00"
HOSTILE = '<script>document.title = "ran"</script>'


def verdict(target, part_id, decision, **fields):
    given = {"heat": None, "reason": None, "by": None, "note": None, "given_at": WHEN}
    return Verdict(target, part_id, decision, **{**given, **fields})


def teardown(*elements, name="Job 7"):
    return Teardown(name, "four-speed", "S1", "C-9", "make it fresh", WHEN, elements)


def element(document, *verdicts, name="Forward", overlays=None):
    return Element(name, "should look clean", (Grading(document, "f" * 64, WHEN, overlays or {}),), verdicts)


@pytest.fixture
def hot():
    return documents.hot_pack()


@pytest.fixture
def written(hot, tmp_path):
    """A report of the hot pack: its folder."""
    document, photos = hot
    ids = document["pack"]["order"]
    overlays = {sha256: f"overlay-{i}" for i, sha256 in enumerate(photos)}
    drawn = {key: documents.jpeg(20 + i, 1600, 1200) for i, key in enumerate(overlays.values())}
    verdicts = (
        verdict("1", ids[0], "reuse", by="Kim"),
        verdict("1", ids[0], "replace", reason="wish", note="asked for new plates", by="Kim"),
        verdict("3", ids[2], "reuse", heat=2, reason="unavailable"),
        verdict("drum", None, "leave", note="bore measured"),
    )
    write_report(
        teardown(element(document, *verdicts, overlays=overlays)), (photos | drawn).__getitem__, tmp_path
    )
    return tmp_path


class Page(html.parser.HTMLParser):
    """Visible text, tags, and attributes that could load or run something."""

    def __init__(self, source):
        super().__init__()
        self.text, self.tags, self.links, self._hidden = "", set(), [], False
        self.feed(source)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self._hidden = tag in ("style", "script")
        self.links += [value for name, value in attrs if name in ("src", "href") or name.startswith("on")]

    def handle_endtag(self, tag):
        self._hidden = False

    def handle_data(self, data):
        if not self._hidden:
            self.text = f"{self.text} {' '.join(data.split())}"


def page(folder):
    return Page((folder / "report.html").read_text("utf-8"))


def test_grade_verdict_and_reason_stand_side_by_side(written):
    text = " ".join(page(written).text.split())
    assert "Level 0: clean" in text
    assert "Test sentence for level 3." in text
    assert "replace , reason: customer's wish" in text
    assert "asked for new plates" in text
    assert "Left in (reused): position 3 (part not available)" in text
    assert "technician's heat level 2" in text
    assert "bore measured" in text


def test_a_pack_without_heat_names_no_plate_as_its_worst(tmp_path):
    photo = documents.jpeg(1)
    parts = [documents.part(photo, n, n, 0) for n in (1, 2, 3)]
    cold = documents.document([documents.photo_entry(photo, "a.jpg", parts)])
    cold["pack"]["pattern"] = "none"
    write_report(teardown(element(cold)), {documents.sha256(photo): photo}.__getitem__, tmp_path)
    glance = " ".join(page(tmp_path).text.split()).partition("How to read the levels")[0]
    assert "Level 0 No plate shows heat in its photo." in glance
    assert "position" not in glance


def test_what_could_not_be_graded_is_said_at_first_sight():
    photo, blurred = documents.jpeg(1), documents.jpeg(2)
    parts = [documents.part(photo, n, n, level) for n, level in ((1, 3), (2, None), (3, 2))]
    entries = [documents.photo_entry(photo, "a.jpg", parts), documents.photo_entry(blurred, "b.jpg", [])]
    [seen] = report_view(teardown(element(documents.document(entries))), Shop()).elements
    assert seen.glance.asides[-2:] == (
        "1 of 3 parts could not be graded",
        "1 of 2 photos could not be graded",
    )
    parts[0]["grade"] = parts[2]["grade"] = None
    parts[0]["problems"] = parts[2]["problems"] = ["no clean reference", "glare"]
    [nothing] = report_view(teardown(element(documents.document(entries))), Shop()).elements
    assert nothing.glance.words == "Cannot tell"
    why = ("no clean reference", "covered", "blurred")
    assert nothing.glance.asides == tuple(PROBLEMS[name].text for name in why)


def test_heat_where_none_is_expected_comes_first(hot, tmp_path):
    document, photos = hot
    as_usual = element(document, name="Direct")
    news = replace(as_usual, name="Forward", duty=Duty(applied="every forward range", expects="clean"))
    write_report(teardown(as_usual, news), photos.__getitem__, tmp_path)
    text = " ".join(page(tmp_path).text.split())
    assert text.index("Forward Heat where none is expected: positions 2, 3") < text.index("Direct")
    assert "Applied: every forward range." in text
    assert text.count("Heat where none is expected") == 2  # at first sight and where it stands


def test_a_photo_of_several_plates_names_their_positions(written):
    text = " ".join(page(written).text.split())
    assert "Photo 1 : positions 1, 2" in text
    assert "Photo 2 : position 3" in text


def test_a_percentage_stays_on_one_line(hot, tmp_path):
    document, photos = hot
    document["photos"][0]["parts"][1]["grade"]["because"] = ["9 % of the face.", "Burnt from 25 %."]
    write_report(teardown(element(document)), photos.__getitem__, tmp_path)
    source = (tmp_path / "report.html").read_text("utf-8")
    assert "9\u00a0% of the face." in source
    assert "Burnt from 25\u00a0%." in source


def test_a_changed_mind_shows_what_was_said_before(written):
    assert re.search(r"before:\s+reuse", page(written).text)


def test_every_caution_and_the_limits_of_level_0_are_printed(written):
    text = " ".join(page(written).text.split())
    for caution in CAUTIONS:
        assert caution in text
    assert "Level 0 is no pass:" in text


def test_the_report_is_one_file_that_loads_and_runs_nothing(written):
    found = page(written)
    assert "script" not in found.tags
    assert all(link.startswith(("data:image/jpeg;base64,", "#")) for link in found.links)
    source = (written / "report.html").read_text("utf-8").replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert not re.search(r"https?://|@import|url\((?!#)", source)


def test_hashes_and_versions_are_printed(written, hot):
    text = page(written).text
    for sha256 in hot[1]:
        assert sha256 in text
    assert "rules-1" in text
    assert documents.PROGRAM["version"] in text


def test_every_level_shown_is_also_a_word_and_a_hatch(written):
    source = (written / "report.html").read_text("utf-8")
    for level in (1, 3):
        assert LEVEL_COLOURS[level] in source
        assert f"url(#hatch-{level})" in source
    assert "Level 3: burnt" in page(written).text


@pytest.mark.parametrize("word", ["safe", "asbestos-free", "will last", "good", "reusable", "degrees", "°"])
def test_outside_the_cautions_no_text_promises_anything(written, word):
    text = " ".join(page(written).text.split())
    for caution in CAUTIONS:
        text = text.replace(caution, "")
    assert not re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text, re.IGNORECASE)


def test_names_and_notes_are_shown_as_text(hot, tmp_path):
    document, photos = hot
    document["photos"][0]["file"] = f"/home/shop/{HOSTILE}.jpg"
    document["photos"][0]["parts"][0]["grade"]["because"] = [HOSTILE]
    given = verdict(HOSTILE, None, "leave", note=HOSTILE, by=HOSTILE)
    write_report(teardown(element(document, given, name=HOSTILE), name=HOSTILE), photos.__getitem__, tmp_path)
    found = page(tmp_path)
    assert "script" not in found.tags
    assert HOSTILE in found.text


def test_the_shops_folders_stay_in_the_shop(hot, tmp_path):
    document, photos = hot
    document["photos"][0]["file"] = "/home/shop/private/forward-1.jpg"
    document["photos"][1]["file"] = "C:\\shop\\private\\forward-2.jpg"
    write_report(teardown(element(document)), photos.__getitem__, tmp_path)
    for name in ("report.html", "parts.csv"):
        text = (tmp_path / name).read_text("utf-8")
        assert "forward-1.jpg" in text
        assert "forward-2.jpg" in text
        assert "private" not in text


def archived(folder):
    """Names and bytes of what photos.zip holds."""
    with zipfile.ZipFile(folder / "photos.zip") as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_the_archive_holds_the_marked_photos_and_the_originals_by_choice(hot, tmp_path):
    document, photos = hot
    overlays = {sha256: f"overlay-{i}" for i, sha256 in enumerate(photos)}
    drawn = {key: documents.jpeg(20 + i) for i, key in enumerate(overlays.values())}
    job = teardown(element(document, overlays=overlays))
    for name, originals in (("marked", False), ("all", True)):
        write_report(job, (photos | drawn).__getitem__, tmp_path / name, originals=originals)
    marked = ["graded/01-forward-forward-1.jpg", "graded/02-forward-forward-2.jpg"]
    assert list(archived(tmp_path / "marked")) == marked
    found = archived(tmp_path / "all")
    assert sorted(found) == [*marked, *(name.replace("graded", "originals") for name in marked)]
    for name, original in zip(sorted(found)[2:], photos.values(), strict=True):
        kept, given = (np.asarray(Image.open(io.BytesIO(data))) for data in (found[name], original))
        assert np.array_equal(kept, given)


def test_an_original_that_is_no_jpeg_becomes_one_that_keeps_its_time_and_no_place(tmp_path):
    exif = Image.Exif()
    exif.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    Image.new("RGB", (64, 48), (120, 90, 60)).save(out, "PNG", exif=exif)
    photo = out.getvalue()
    document = documents.document([documents.photo_entry(photo, "a.png", [documents.part(photo, 1, 1, 0)])])
    write_report(teardown(element(document)), {documents.sha256(photo): photo}.__getitem__, tmp_path)
    [(name, data)] = archived(tmp_path).items()
    left = Image.open(io.BytesIO(data))
    assert (name, left.format, left.size) == ("originals/01-forward-a.jpg", "JPEG", (64, 48))
    tags = left.getexif()
    assert tags.get_ifd(34665)[36867] == "2024:05:03 10:15:00"
    assert not tags.get_ifd(0x8825)


def test_a_photo_on_which_nothing_was_drawn_is_in_the_archive_as_it_is(hot, tmp_path):
    write_report(teardown(element(hot[0])), hot[1].__getitem__, tmp_path)
    assert [name.split("/")[0] for name in archived(tmp_path)] == ["originals"] * 2


def test_no_picture_that_leaves_the_shop_says_where_it_was_taken(hot, tmp_path):
    document, photos = hot
    first = next(iter(photos))
    overlays = {first: "overlay"}
    kept = photos | {"overlay": documents.jpeg(20)}
    write_report(teardown(element(document, overlays=overlays)), kept.__getitem__, tmp_path, originals=True)
    source = (tmp_path / "report.html").read_text("utf-8")
    shown = re.findall(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", source)
    leaving = [*archived(tmp_path).values(), *map(base64.b64decode, shown)]
    assert Image.open(io.BytesIO(photos[first])).getexif().get_ifd(0x8825)  # the originals do
    assert len(leaving) == 5
    for data in leaving:
        image = Image.open(io.BytesIO(data))
        assert not image.getexif()
        assert not set(image.info) & {"exif", "comment", "xmp", "photoshop", "mp"}


def test_pictures_in_the_page_are_at_most_1200_wide(written):
    source = (written / "report.html").read_text("utf-8")
    pictures = re.findall(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", source)
    sizes = [Image.open(io.BytesIO(base64.b64decode(data))).size for data in pictures]
    assert sizes == [(1200, 900), (1200, 900)]


def test_photos_stand_in_position_order(hot, tmp_path):
    document, photos = hot
    document["photos"].reverse()
    write_report(teardown(element(document)), photos.__getitem__, tmp_path)
    text = page(tmp_path).text
    assert text.index("forward-1.jpg") < text.index("forward-2.jpg")


def test_a_photo_that_could_not_be_graded_says_why_and_what_to_do(tmp_path):
    photo = documents.jpeg(70)
    document = documents.document([documents.photo_entry(photo, "IMG.jpg", [])])
    write_report(teardown(element(document)), {documents.sha256(photo): photo}.__getitem__, tmp_path)
    text = " ".join(page(tmp_path).text.split())
    assert "The photo is blurred. Hold still or rest the phone, and let it focus on the plate." in text
    assert "Cannot tell" in text


def test_why_a_measured_part_has_no_grade_is_said_in_its_own_words_once():
    own = ["The colour is not known well enough.", "It could be: burnt 60 %, charred 40 %."]
    part = documents.part(documents.jpeg(70), 1, 1, None)
    part |= {"problems": ["glare", "uncertainty spans grades"], "ungraded_because": own}
    glare = PROBLEMS["glare"]
    said = ["The colour is not known well enough. It could be: burnt 60\u00a0%, charred 40\u00a0%."]
    assert doubts(part, remedies=False) == [*said, glare.text]
    assert doubts(part, remedies=True) == [*said, f"{glare.text} {glare.remedy}"]


def test_what_a_part_says_itself_is_not_said_of_its_problem_again():
    none, glare = PROBLEMS["no clean reference"], PROBLEMS["glare"]
    part = documents.part(documents.jpeg(70), 1, 1, None)
    part |= {"problems": ["glare", none.name], "ungraded_because": [none.text, none.remedy]}
    said = [f"{one.text} {one.remedy}" for one in (none, glare)]
    assert doubts(part, remedies=True) == said
    del part["ungraded_because"]  # as programs before this one stored it
    assert doubts(part, remedies=True) == said[::-1]


@pytest.mark.parametrize("why", NOT_RECOGNISED)
def test_of_a_lining_that_is_not_recognised_one_thing_is_said(why):
    part = documents.part(documents.jpeg(70), 1, 1, None) | {"problems": [why, "no clean reference"]}
    said = PROBLEMS[why]
    assert doubts(part, remedies=True) == [f"{said.text} {said.remedy}"]
    assert refused(part["problems"]) == (said.text,)


def test_a_photo_without_a_part_is_said_to_fail_by_what_refuses_it_alone():
    photo = documents.photo_entry(documents.jpeg(70), "a.jpg", [])
    photo["quality"]["problems"] = ["no neutral in view", "blurred"]
    blurred, left_out = PROBLEMS["blurred"], PROBLEMS["shots do not fit"]
    assert photo_refused(photo) == f"{blurred.text} {blurred.remedy}"
    [seen] = report_view(teardown(element(documents.document([photo]))), Shop()).elements
    assert seen.photos[0].said_of_problems == (photo_refused(photo),)
    photo["quality"]["problems"] = ["shots do not fit"]
    assert photo_refused(photo) == f"{left_out.text} {left_out.remedy}"


def test_a_gap_is_said_of_the_photo_and_not_of_the_plate(tmp_path):
    photo = documents.jpeg(70)
    parts = [documents.part(photo, n, n, 0, left=200 * n) for n in (1, 2, 3, 4)]
    parts[2]["problems"] = [GAP]
    document = documents.document([documents.photo_entry(photo, "a.jpg", parts)])
    view = report_view(teardown(element(document)), Shop())
    [shown] = view.elements
    assert [part.doubts for part in shown.parts] == [()] * 4
    assert shown.photos[0].said_of_problems == (f"Position 3: {PROBLEMS[GAP].text}",)
    write_report(teardown(element(document)), {documents.sha256(photo): photo}.__getitem__, tmp_path)
    assert page(tmp_path).text.count(PROBLEMS[GAP].text) == 1


def test_a_grade_against_the_cleanest_plate_says_so_wherever_it_stands(tmp_path):
    photo = documents.jpeg(70)
    parts = [documents.part(photo, n + 1, n + 1, n, left=200 * n, relative=True) for n in range(3)]
    document = documents.document([documents.photo_entry(photo, "a.jpg", parts)])
    document["reference"] = {
        "source": "cleanest part",
        "file": None,
        "lining": None,
        "lab_median": [60, 8, 20],
    }
    write_report(teardown(element(document)), {documents.sha256(photo): photo}.__getitem__, tmp_path)
    assert page(tmp_path).text.count("compared with the cleanest plate only") >= 3


def test_an_empty_teardown_has_a_report(tmp_path):
    write_report(teardown(), {}.__getitem__, tmp_path)
    assert "Nothing was graded or judged so far." in page(tmp_path).text


def test_a_lost_photo_stops_the_report_and_leaves_none(hot, tmp_path):
    def lost(sha256):
        raise StoreError(sha256, "this kept photo cannot be read", "Bring it back")

    with pytest.raises(StoreError):
        write_report(teardown(element(hot[0])), lost, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_told(hot, tmp_path):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(OutputError, match="taken"):
        write_report(teardown(element(hot[0])), hot[1].__getitem__, tmp_path / "taken")


def test_the_same_record_gives_the_same_bytes(hot, tmp_path):
    for name in ("one", "two"):
        write_report(teardown(element(hot[0])), hot[1].__getitem__, tmp_path / name)
    for name in ("report.html", "report.pdf", "photos.zip", "parts.csv"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def table(folder):
    return list(csv.DictReader(io.StringIO((folder / "parts.csv").read_bytes().decode("utf-8"), newline="")))


def test_the_table_holds_measurement_and_verdict_of_each_part(written):
    rows = table(written)
    assert [row["target"] for row in rows] == ["1", "2", "3", "drum"]
    first = rows[0]
    assert (first["level"], first["verdict"], first["verdict_reason"]) == ("0", "replace", "wish")
    assert float(first["delta_l_median"]) == -4.0
    assert first["verdicts_given"] == "2"
    assert rows[1]["verdict"] == ""


def test_what_was_not_measured_is_an_empty_cell_not_0(tmp_path):
    photo = documents.jpeg(70)
    document = documents.document(
        [documents.photo_entry(photo, "a.jpg", [documents.part(photo, 1, 1, None)])]
    )
    write_report(teardown(element(document)), {documents.sha256(photo): photo}.__getitem__, tmp_path)
    [row] = table(tmp_path)
    assert {row[name] for name in ("level", "score", "area_over_5", "glazing_index", "hot_spots")} == {""}
    assert row["problems"] == "covered"


# The starts that OWASP's page on CSV Injection names (from memory), and a blank before one.
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", " =", "\uff1d", "\uff20"])
def test_no_text_cell_begins_like_a_formula(hot, tmp_path, start):
    given = verdict("pack", None, "replace", note=f"{start}1+1", by=f"{start}SUM(A1)")
    write_report(teardown(element(hot[0], given, name=f"{start}cmd")), hot[1].__getitem__, tmp_path)
    row = table(tmp_path)[-1]
    assert (row["element"], row["verdict_note"]) == (f"'{start}cmd", f"'{start}1+1")
    assert row["verdict_by"].startswith("'")


def test_each_part_names_its_own_clean_lining(hot, tmp_path):
    document, photos = hot
    green = {"source": "library", "file": None, "lining": "green", "lab_median": [50.0, -8.0, 14.0]}
    document["photos"][0]["parts"][1]["reference"] = green
    write_report(teardown(element(document)), photos.__getitem__, tmp_path)
    page = " ".join((tmp_path / "report.html").read_text("utf-8").split())
    assert "(clean.jpg); position 2: compared with the stored lining colour green. Graded" in page
    rows = list(csv.DictReader(io.StringIO((tmp_path / "parts.csv").read_text("utf-8"))))
    assert [row["compared_with"] for row in rows] == ["clean.jpg", "green", "clean.jpg"]


def test_the_photo_of_another_shot_shows_the_position_of_its_part(hot, tmp_path):
    document, _ = hot
    again = documents.jpeg(150)
    entry = documents.photo_entry(again, "forward-3.jpg", [documents.part(again, 1, 3, 3)])
    entry["parts"][0]["shot_of"] = document["photos"][1]["parts"][0]["id"]
    document["photos"].append(entry)
    view = report_view(teardown(element(document)), Shop(None))
    assert [photo.positions for photo in view.photos] == [("1", "2"), ("3",), ("3",)]
    assert [part.label for part in view.elements[0].parts] == ["1", "2", "3"]
