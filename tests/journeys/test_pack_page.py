"""The page Pack of what is no row of plates, and of a row that may lack one."""

from tests import documents
from tests.journeys.driven import NAME, press, run, shown, turn_to
from tests.journeys.test_app import PACK_PAGE, app, url
from wearview import store as record
from wearview.report.words import gap_words
from wearview.terms import GAP
from wearview.ui import tray
from wearview.ui.correct import CHANGED, GRADED_BY_COMMAND

__all__ = ["app", "url"]
PHOTO = documents.jpeg(40)


def pack_page(app, url, *parts):
    """The page Pack of an element with one graded photo."""
    store = record.open_store(url)
    record.new_teardown(store, "Job 7")
    entry = documents.photo_entry(PHOTO, "a.jpg", list(parts))
    document = documents.document([entry])
    record.add_grading(store, "Job 7", "Forward", document, [record.GradedPhoto(PHOTO, PHOTO)])
    press(run(app), "open Job 7")
    return turn_to(app, PACK_PAGE)


def asked_on(page):
    return [control for control in page.get("button_group") if control.label == "On"]


def test_a_band_is_decided_as_the_one_part_it_is(app, url):
    page = pack_page(app, url, documents.part(PHOTO, 1, 1, 2, "band"))
    assert not asked_on(page)
    text = shown(page)
    assert "Lightest against darkest place along it" in text
    assert "Outer edge against inner" not in text


def test_of_a_plate_it_is_asked_whether_the_verdict_is_its_own_or_the_packs(app, url):
    assert asked_on(pack_page(app, url, documents.part(PHOTO, 1, 1, 2)))


def test_where_no_part_was_found_there_is_nothing_to_list_or_compare(app, url):
    page = pack_page(app, url)
    assert "a.jpg could not be graded." in shown(page)
    assert "ompared with" not in shown(page)
    assert [toggle.label for toggle in page.toggle] == ["Something was found wrongly"]


def test_why_no_part_was_graded_is_said_before_a_verdict_is_asked_for(app, url):
    page = pack_page(app, url)
    drawn = [str(getattr(element, "value", "")) for element in page.main]
    [why] = [n for n, text in enumerate(drawn) if "a.jpg could not be graded." in text]
    assert why < drawn.index("Your verdict")


def test_a_gap_in_the_row_is_said_above_it(app, url):
    parts = [documents.part(PHOTO, n, n, 0, left=200 * n) for n in (1, 2, 3, 4)]
    parts[2]["problems"] = [GAP]
    page = pack_page(app, url, *parts)
    assert [warning.value for warning in page.warning] == gap_words(["3"])


def test_why_nothing_can_be_put_right_is_said_of_a_pack_without_its_photos(app, url):
    page = pack_page(app, url, documents.part(PHOTO, 1, 1, 2))
    page.toggle(key="wrong").set_value(True)
    assert [info.value for info in run(page).info] == [GRADED_BY_COMMAND]
    tray.add_photo(record.open_store(url), NAME, "b.jpg", documents.jpeg(50))
    assert [info.value for info in run(page).info] == [CHANGED]
