"""The report on paper, read back by another library, pdfium."""

import errno
import io
import re
from itertools import pairwise
from pathlib import Path

import pypdfium2
import pytest
from PIL import Image, ImageStat

from tests import documents
from tests.stages.test_report import element, teardown, verdict
from wearview.errors import OutputError
from wearview.report import Shop, write_report
from wearview.report.typeset import _breakable
from wearview.terms import CAUTIONS, NO_PASS

A4, LETTER = (595, 842), (612, 792)  # points; ISO 216, ANSI/ASME Y14.1
# Each would be set differently, or stop the setting, if it were read as markup or code.
HOSTILE = ('#read("view.json")', "#panic()", "*bold* _it_ $x^2$ <label> @ref `raw`", "] } \\ // /*", '"#{')


def pages(folder):
    """The pages of the PDF, and their text with blanks made one."""
    pdf = pypdfium2.PdfDocument((folder / "report.pdf").read_bytes())
    found = list(pdf)
    return found, [" ".join(page.get_textpage().get_text_range().split()) for page in found]


def letters(text):
    """Letters and digits alone: quotes are set curly, and lines break at hyphens."""
    return re.sub(r"[\W_]|\ufffe", "", text)


def write(folder, document, photos, *given, name="Job 7", element_name="Forward", **options):
    job = teardown(element(document, *given, name=element_name), name=name)
    write_report(job, photos.__getitem__, folder, **options)
    return folder


@pytest.fixture
def hot():
    return documents.hot_pack()


def test_it_holds_what_the_page_holds(hot, tmp_path):
    document, photos = hot
    ids = document["pack"]["order"]
    given = (
        verdict("1", ids[0], "reuse", by="Kim"),
        verdict("1", ids[0], "replace", reason="wish", note="asked for new plates", by="Kim"),
        verdict("drum", None, "leave", note="bore measured"),
    )
    text = " ".join(pages(write(tmp_path, document, photos, *given))[1])
    for said in (
        "Level 3: burnt",
        "Test sentence for level 3.",
        "Replaced: position 1 (customer's wish)",
        "asked for new plates",
        "before: reuse",
        "Left in: drum",
        "bore measured",
        "Heat rises towards the reaction end.",
        "rules-1",
        *photos,
        *CAUTIONS,
    ):
        assert letters(said) in letters(text), said


def test_every_page_has_its_number_the_limit_of_level_0_and_from_the_second_on_the_job(hot, tmp_path):
    document, photos = hot
    notes = (verdict("pack", None, "replace", note="word " * 3000),)
    found = pages(write(tmp_path, document, photos, *notes, name="Job 7042"))[1]
    assert len(found) >= 3
    for number, text in enumerate(found, start=1):
        assert f"Page {number} of {len(found)}" in text
        assert NO_PASS in text
        assert "Job 7042" in text


@pytest.mark.parametrize("hostile", HOSTILE)
def test_nothing_typed_becomes_markup(hot, tmp_path, hostile):
    document, photos = hot
    document["photos"][0]["file"] = f"{hostile}.jpg"
    document["photos"][0]["parts"][0]["grade"]["because"] = [hostile]
    given = verdict(hostile, None, "leave", note=hostile, by=hostile)
    shop = Shop(hostile, (hostile,))
    folder = write(tmp_path, document, photos, given, name=hostile, element_name=hostile, shop=shop)
    text = "".join("".join(pages(folder)[1]).split())
    assert text.count("".join(hostile.split())) >= 6


def test_names_in_other_scripts_and_half_characters_do_not_stop_it(hot, tmp_path):
    document, photos = hot
    document["photos"][0]["file"] = "caf\udce9-\U0001f600-\u202eabc.jpg"
    folder = write(tmp_path, document, photos, name="Коробка Γ 変速機", element_name="\u0627\u0644")
    assert "Коробка Γ" in pages(folder)[1][0]


def test_nothing_reaches_over_the_edge_of_the_paper(hot, tmp_path):
    document, photos = hot
    document["photos"][0]["file"] = "a-long-file-name-without-any-break" * 5 + ".jpg"
    given = verdict("1", document["pack"]["order"][0], "replace", note="N" * 300, by="B" * 90)
    folder = write(tmp_path, document, photos, given, name="J" * 150, element_name="E" * 150)
    for page in pages(folder)[0]:
        width, height = page.get_size()
        words = page.get_textpage()
        for i in range(words.count_rects()):
            left, bottom, right, top = words.get_rect(i)
            assert 40 <= left <= right <= width - 40
            assert 20 <= bottom <= top <= height - 20


def test_every_picture_is_whole_on_its_page(hot, tmp_path):
    found = pages(write(tmp_path, *hot))[0]
    pictures = [
        (page.get_size(), item.get_bounds())
        for page in found
        for item in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE])
    ]
    assert len(pictures) == 2
    for (width, height), (left, bottom, right, top) in pictures:
        assert 0 <= left < right <= width
        assert 0 <= bottom < top <= height


@pytest.mark.parametrize(("paper", "size"), [("a4", A4), ("us-letter", LETTER)])
def test_the_paper_is_the_shops(hot, tmp_path, paper, size):
    for page in pages(write(tmp_path, *hot, shop=Shop("Shop", paper=paper)))[0]:
        assert tuple(map(round, page.get_size())) == size


def test_the_shops_name_address_and_logo_head_the_first_page(hot, tmp_path):
    logo = io.BytesIO()
    Image.new("RGB", (300, 100), (0, 200, 0)).save(logo, "PNG")
    shop = Shop("Harrow Lane", ("12 Harrow Lane",), logo.getvalue())
    found, texts = pages(write(tmp_path, *hot, shop=shop))
    assert texts[0].startswith("Harrow Lane 12 Harrow Lane")
    colours = {colour for _, colour in found[0].render().to_pil().convert("RGB").getcolors(2**24)}
    assert (0, 200, 0) in colours
    assert all("Harrow Lane" in text for text in texts)


def test_on_a_grey_print_the_levels_of_the_drawing_stay_in_order(tmp_path):
    photo = documents.jpeg(1)
    parts = [documents.part(photo, level + 1, level + 1, level, left=150 * level) for level in range(5)]
    document = documents.document([documents.photo_entry(photo, "a.jpg", parts)])
    # The legend's boxes: the mean grey of each falls from level to level.
    [page] = [
        page
        for page in pages(write(tmp_path, document, {documents.sha256(photo): photo}))[0]
        if "How to read the levels" in page.get_textpage().get_text_range()
    ]
    grey = page.render(scale=4).to_pil().convert("L")
    height = page.get_size()[1]
    means = []
    for left, bottom, right, top in _legend_boxes(page):
        cut = grey.crop(tuple(round(4 * v) for v in (left, height - top, right, height - bottom)))
        means.append(ImageStat.Stat(cut).mean[0])
    assert len(means) == 6
    assert all(a > b + 10 for a, b in pairwise(means[:5]))


def _legend_boxes(page):
    """The legend's boxes from level 0 to "cannot tell": each is a colour with its hatch over it."""
    boxes = {}
    for item in page.get_objects(max_depth=1):
        left, bottom, right, top = item.get_bounds()
        if left < 60 and 12 < right - left < 20 and 8 < top - bottom < 14:
            boxes[round((bottom + top) / 4)] = (left, bottom, right, top)
    return [box for _, box in sorted(boxes.items(), reverse=True)]


def test_long_words_may_break_and_a_hash_does_not():
    assert _breakable("short words stay") == "short words stay"
    assert _breakable("x" * 30) == "\u200b".join(["x" * 12, "x" * 12, "x" * 6])
    assert _breakable("ab" * 32) == "ab" * 32


def test_a_full_disk_is_told_in_words(hot, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OutputError, match="no space left on device"):
        write(tmp_path, *hot)
    assert list(tmp_path.iterdir()) == []


def test_it_says_that_it_is_made_to_be_kept(hot, tmp_path):
    # ISO 19005-2, 6.6.4: the part and the conformance level stand in its XMP (element names from memory).
    data = (write(tmp_path, *hot) / "report.pdf").read_bytes()
    assert b"<pdfaid:part>2</pdfaid:part>" in data
    assert b"<pdfaid:conformance>A</pdfaid:conformance>" in data


def test_the_pdf_says_its_title_and_is_tagged_for_reading_aloud(hot, tmp_path):
    data = (write(tmp_path, *hot) / "report.pdf").read_bytes()
    assert pypdfium2.PdfDocument(data).get_metadata_dict()["Title"] == "Teardown report: Job 7"
    assert re.search(rb"/MarkInfo\s*<<[^>]*/Marked true", data)
