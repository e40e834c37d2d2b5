"""The page Findings: the checklist in any order, photos, measured values, what was noted by mistake."""

import pytest

from tests import documents
from tests.journeys.driven import press, run, shown, turn_to, widget
from tests.journeys.test_app import app, url
from wearview import store as record

__all__ = ["app", "url"]
FINDINGS = "wearview/ui/pages/findings.py"


@pytest.fixture
def page(app, url):
    record.new_teardown(record.open_store(url), "Job 7", unit="four-speed")
    press(run(app), "open Job 7")
    return turn_to(app, FINDINGS)


def job(url):
    return record.get_teardown(record.open_store(url), "Job 7")


def test_an_empty_page_says_what_to_do(page):
    assert "the shop has no checklist for this unit" in shown(page)
    assert "Nothing is measured so far" in shown(page)
    assert not page.error


def test_a_checklist_is_settled_and_gone_through(page, url):
    widget(page, "text_area", "items").set_value("pump pocket\n\nservo bores\n")
    press(page, "settle checklist")
    assert job(url).checklist == ("pump pocket", "servo bores")
    assert record.checklist_of(record.open_store(url), "six-speed") == ()
    assert "0 of 2 looked at, 2 not done" in shown(page)
    assert widget(page, "selectbox", "item").value == "pump pocket"
    widget(page, "pills", "outcome").set_value("found")
    run(page)
    widget(page, "text_area", "finding note").set_value("scored")
    widget(page, "file_uploader", "finding photos").set_value([("a.jpg", documents.jpeg(40), "image/jpeg")])
    press(page, "note finding")
    [said] = job(url).inspections
    assert (said.item, said.outcome, said.note, said.photos[0].file) == (
        "pump pocket",
        "found",
        "scored",
        "a.jpg",
    )
    assert said.photos[0].sha256 in shown(page)
    assert widget(page, "selectbox", "item").value == "servo bores"
    assert widget(page, "text_area", "finding note").value == ""


def test_what_is_missing_is_asked_for_and_nothing_stored(page, url):
    press(page, "note finding")
    assert "Choose the item" in shown(page)
    record.set_checklist(record.open_store(url), ["drum"])
    widget(run(page), "selectbox", "item").select_index(0)
    widget(page, "pills", "outcome").set_value("found")
    press(page, "note finding")
    assert "does not say what was found" in shown(page)
    widget(page, "file_uploader", "finding photos").set_value([("a.jpg", b"no photo", "image/jpeg")])
    press(page, "note finding")
    assert "not an image" in shown(page)
    assert job(url).inspections == ()


def test_a_value_out_of_its_limit_is_shown(page, url):
    for name, typed in (("what", "tip gap"), ("value", "3/64"), ("tool", "gauge"), ("most", "1 mm")):
        widget(page, "text_input", name).set_value(typed)
    press(page, "keep value")
    assert "limit from nowhere" in shown(page)
    widget(page, "text_input", "limit from").set_value("an invented note")
    photos = widget(page, "file_uploader", "measured photos")
    photos.set_value([("gauge.jpg", documents.jpeg(44), "image/jpeg")])
    press(page, "keep value")
    assert "Out of limit: more than allowed" in shown(page)
    [one] = job(url).measured
    assert (str(one.value), str(one.most)) == ("3/64 in", "1 mm")
    assert [photo.file for photo in one.photos] == ["gauge.jpg"]
    assert one.photos[0].sha256 in shown(page)


def test_the_mileage_is_kept_as_typed_and_can_be_taken_back(page, url):
    for typed, kept in (("far", None), ("52000 miles", "52000 mi"), ("", None)):
        page.text_input(key="mileage of Job 7").set_value(typed)
        run(page)
        press(page, "keep mileage")
        mileage = job(url).mileage
        assert (mileage and str(mileage)) == kept
        assert ("is no mileage" in shown(page)) == (typed == "far")


def test_a_mistake_is_taken_back(page, url):
    documents.add_beside(record.open_store(url), "Job 7")
    run(page)
    for index in (0, 0):
        widget(page, "selectbox", "mistake").select_index(index)
        press(page, "take back")
    assert (job(url).inspections, job(url).measured) == ((), ())


def test_nothing_is_asked_of_a_closed_teardown_that_lacks_it(page, url):
    record.close_teardown(record.open_store(url), "Job 7")
    assert [info.value for info in run(page).info if info.value.startswith("Nothing")] == [
        "Nothing was noted.",
        "Nothing was measured.",
    ]


def test_a_closed_teardown_is_shown_and_takes_nothing(page, url):
    documents.add_beside(record.open_store(url), "Job 7")
    record.close_teardown(record.open_store(url), "Job 7")
    run(page)
    assert "This teardown is closed" in shown(page)
    assert "scored" in shown(page)
    assert [
        button.key for button in page.button if button.key in ("note finding", "keep value", "take back")
    ] == []
