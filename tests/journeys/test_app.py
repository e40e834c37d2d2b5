"""The page: grading, storing, judging and handing over, through Streamlit's own test driver."""

import dataclasses
import tomllib
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from tests import documents
from wearview import store as record
from wearview.cli import main
from wearview.pipeline import grade_photos
from wearview.record import build_document
from wearview.report.words import DECISIONS, REASONS
from wearview.settings import load_settings
from wearview.terms import CAUTIONS, FRICTION, STEEL
from wearview.ui import grading
from wearview.ui.words import plain

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_images"
PLATES, LAST, CLEAN = "direct-pack-2.jpg", "direct-pack-3.jpg", "reference-tan.jpg"
TEARDOWN = "wearview/ui/pages/teardown.py"
GRADE = "wearview/ui/pages/grade.py"


@pytest.fixture
def url(tmp_path, monkeypatch):
    address = f"sqlite:///{tmp_path}/record.sqlite"
    monkeypatch.setenv("WEARVIEW_STORE", address)
    st.cache_data.clear()
    st.cache_resource.clear()
    return address


@pytest.fixture
def app(url):
    return run(AppTest.from_file(str(ROOT / "app.py"), default_timeout=60))


def run(app):
    app.run()
    assert not app.exception
    return app


def press(app, key):
    app.button(key=key).click()
    return run(app)


def turn_to(app, page):
    app.switch_page(str(ROOT / page))
    return run(app)


def widget(app, kind, name):
    """A widget of a form whose keys change each time the form is used."""
    [found] = [w for w in getattr(app, kind) if w.key and w.key.partition(" ")[0] == name]
    return found


def photo(name, called=None):
    return called or name, (DEMO / name).read_bytes(), "image/jpeg"


def give(app, photos, clean=None):
    app.file_uploader(key="photos").set_value(photos)
    if clean is not None:
        app.file_uploader(key="clean").set_value(clean)
    return run(app)


def shown(app):
    """The page's HTML and alerts, as one text."""
    alerts = [*app.error, *app.warning, *app.info, *app.success]
    return "\n".join(str(element.value) for element in [*app.get("html"), *alerts])


def gradings(url, teardown="Job 7"):
    return [g for e in record.get_teardown(record.open_store(url), teardown).elements for g in e.gradings]


def add_hot_pack(url):
    """A stored teardown of three plates."""
    store = record.open_store(url)
    record.new_teardown(store, "Job 7", unit="four-speed", wish="make it fresh")
    document, photos = documents.hot_pack()
    files = [record.GradedPhoto(data, data) for data in photos.values()]
    record.add_grading(store, "Job 7", "Forward", document, files)
    return document["pack"]["order"]


def test_an_empty_page_says_how_to_take_photos_and_cannot_grade(app):
    assert "sheet of plain white paper" in app.info[0].value
    assert app.button(key="grade").disabled


@pytest.mark.parametrize("page", [GRADE, TEARDOWN])
def test_cautions_stand_on_every_page(app, page):
    text = shown(turn_to(app, page))
    assert all(caution in text for caution in CAUTIONS)


def test_the_page_finds_what_the_command_finds(app, url):
    give(app, [photo(PLATES), photo(LAST)], photo(CLEAN))
    press(app, "grade")
    settings = load_settings()
    graded = grade_photos([str(DEMO / PLATES), str(DEMO / LAST)], settings, reference=str(DEMO / CLEAN))
    expected = build_document(graded, settings)
    for entry in [*expected["photos"], expected["reference"]]:
        entry["file"] = Path(entry["file"]).name
    _, answer, place = app.session_state["shown"]
    assert answer.document == expected
    assert place is None
    assert record.list_teardowns(record.open_store(url)) == []


def test_overlays_have_alt_texts_and_the_table_gives_reasons(app):
    press(give(app, [photo(PLATES)], photo(CLEAN)), "grade")
    [picture] = [image for block in app.get("image") for image in block.proto.imgs]
    _, answer, _ = app.session_state["shown"]
    [entry] = answer.document["photos"]
    assert entry["parts"]
    for part in entry["parts"]:
        assert f"position {part['position']}, {part['kind']}" in picture.alt
        assert all(sentence.replace("'", "&#39;") in shown(app) for sentence in part["grade"]["because"])


def test_a_tap_after_grading_grades_nothing_again(app, monkeypatch):
    press(give(app, [photo(LAST)]), "grade")

    def refuse(*args, **options):
        raise AssertionError("graded again")

    monkeypatch.setattr(grading, "grade_photos", refuse)
    assert press(app, "grade").session_state["shown"]
    assert not app.exception


def test_a_teardown_opened_on_the_page_takes_what_is_graded_there(app, url):
    widget(app, "text_input", "name").set_value("Job 7")
    widget(app, "text_area", "wish").set_value("keep the cost down")
    press(app, "open teardown")
    assert app.selectbox(key="teardown").value == "Job 7"
    give(app, [photo(PLATES, "C:\\jobs\\a.jpg")], photo(CLEAN))
    element = app.selectbox(key="element")
    element.options.append("Direct")  # the driver knows no typing
    element.set_value("Direct")
    press(app, "grade")
    run(app)
    [grading_kept] = gradings(url)
    [entry] = grading_kept.document["photos"]
    assert entry["file"] == "a.jpg"
    assert record.photo_bytes(record.open_store(url), entry["sha256"]) == (DEMO / PLATES).read_bytes()
    assert entry["sha256"] in grading_kept.overlays

    turn_to(app, TEARDOWN)
    assert app.pills(key="element").value == "Direct"
    assert "keep the cost down" in shown(app)
    assert all(part["kind"] in shown(app) for part in entry["parts"])


def test_a_chosen_teardown_without_an_element_is_asked_for_one(app, url):
    record.new_teardown(record.open_store(url), "Job 7")
    run(app)
    app.selectbox(key="teardown").set_value("Job 7")
    press(give(app, [photo(LAST)]), "grade")
    assert "clutch or brake" in app.error[0].value
    assert gradings(url) == []


def test_photos_go_by_name_with_photo_2_before_photo_10_or_as_added(app):
    photos = [photo(LAST, "IMG_10.jpg"), photo(PLATES, "IMG_2.jpg")]
    give(app, photos)
    assert app.caption[0].value == plain("In this order: IMG_2.jpg, IMG_10.jpg")
    app.radio(key="order").set_value("as they were added")
    assert run(app).caption[0].value == plain("In this order: IMG_10.jpg, IMG_2.jpg")


def test_an_unreadable_photo_is_named_and_the_others_are_graded(app):
    give(app, [("![a picture](from_elsewhere).jpg", b"words", "image/jpeg"), photo(LAST)])
    press(app, "grade")
    assert plain("![a picture](from_elsewhere).jpg: not an image we can read") in app.error[0].value
    assert len(app.session_state["shown"][1].document["photos"]) == 1


def test_a_reference_that_cannot_serve_is_an_error_in_words(app):
    press(give(app, [photo(LAST)], ("clean.jpg", b"words", "image/jpeg")), "grade")
    assert app.error[0].value.startswith(plain("clean.jpg: "))
    assert "shown" not in app.session_state


def test_kinds_and_positions_are_put_right_by_a_person(app):
    press(give(app, [photo(LAST)]), "grade")
    _, answer, _ = app.session_state["shown"]
    [part] = answer.document["photos"][0]["parts"]
    other = STEEL if part["kind"] != STEEL else FRICTION
    app.number_input[0].set_value(11)
    next(box for box in app.selectbox if box.label.startswith("Kind")).set_value(other)
    press(app, "correct parts")
    [corrected] = app.session_state["shown"][1].document["photos"][0]["parts"]
    assert (corrected["position"], corrected["kind"], corrected["kind_confidence"]) == (11, other, 1.0)


def test_a_verdict_stands_beside_the_grade_and_the_form_is_empty_again(app, url):
    ids = add_hot_pack(url)
    press(turn_to(app, TEARDOWN), "open Job 7")
    widget(app, "pills", "targets").set_value(["3", "pack"])
    widget(app, "pills", "decision").set_value("reuse")
    widget(app, "pills", "reason").set_value("wish")
    widget(app, "pills", "heat").set_value(2)
    widget(app, "text_input", "by").set_value("bench 2")
    widget(app, "text_area", "note").set_value("<b>as asked</b>")
    press(app, "store verdict")
    [element] = record.get_teardown(record.open_store(url), "Job 7").elements
    given = [(v.target, v.part_id, v.decision, v.reason, v.heat, v.by, v.note) for v in element.verdicts]
    rest = ("reuse", "wish", 2, "bench 2", "<b>as asked</b>")
    assert given == [("3", ids[2], *rest), ("pack", None, *rest)]
    assert element.latest.document["photos"][1]["parts"][0]["grade"]["level"] == 3
    assert "&lt;b&gt;as asked&lt;/b&gt;" in shown(app)
    assert widget(app, "pills", "decision").value is None
    assert widget(app, "text_input", "by").value == "bench 2"


@pytest.mark.parametrize(
    ("targets", "decision", "says"), [([], "reuse", "what the verdict is on"), (["1"], None, "decision")]
)
def test_half_a_verdict_is_not_stored(app, url, targets, decision, says):
    add_hot_pack(url)
    press(turn_to(app, TEARDOWN), "open Job 7")
    widget(app, "pills", "targets").set_value(targets)
    widget(app, "pills", "decision").set_value(decision)
    press(app, "store verdict")
    assert says in app.error[0].value
    assert record.get_teardown(record.open_store(url), "Job 7").elements[0].verdicts == ()


def test_a_part_outside_a_pack_is_judged_by_its_name(app, url):
    record.new_teardown(record.open_store(url), "Job 7")
    press(turn_to(app, TEARDOWN), "open Job 7")
    widget(app, "text_input", "place").set_value("Forward")
    widget(app, "text_input", "named").set_value("drum")
    widget(app, "pills", "decision").set_value("replace")
    press(app, "store verdict")
    [element] = record.get_teardown(record.open_store(url), "Job 7").elements
    assert (element.name, element.verdicts[0].target) == ("Forward", "drum")


def test_the_report_is_offered_until_the_record_grows(app, url):
    add_hot_pack(url)
    press(turn_to(app, TEARDOWN), "open Job 7")
    assert not app.download_button
    press(app, "write report")
    assert [button.key for button in app.download_button] == ["report.html", "photos.zip", "parts.csv"]
    record.add_verdict(record.open_store(url), "Job 7", "Forward", "1", "replace")
    assert not run(app).download_button


def test_a_record_that_cannot_be_opened_is_said_and_photos_are_graded_all_the_same(app, monkeypatch):
    monkeypatch.setenv("WEARVIEW_STORE", "nonsense")
    press(give(app, [photo(LAST)]), "grade")
    assert "no database URL" in app.error[0].value
    assert app.session_state["shown"]
    assert "no database URL" in turn_to(app, TEARDOWN).error[0].value


def test_every_term_of_a_verdict_has_the_words_of_the_report():
    assert DECISIONS["leave"] == "leave in"
    assert REASONS["wish"] == "customer's wish"


def test_both_scripts_are_served_to_this_computer_only_and_tell_nobody():
    beside_app = (ROOT / ".streamlit" / "config.toml").read_text("utf-8")
    assert (ROOT / "wearview/ui/start/.streamlit/config.toml").read_text("utf-8") == beside_app
    config = tomllib.loads(beside_app)
    assert config["server"]["address"] == "localhost"
    assert config["browser"]["gatherUsageStats"] is False


def test_the_network_is_refused_without_a_passcode_guard(capsys):
    assert main(["app", "--lan"]) == 2
    assert "not yet: the page has no passcode guard" in capsys.readouterr().err


def test_what_is_asked_is_the_key_of_what_is_kept():
    asked = grading.Asked((grading.upload("a.jpg", b"a"),), None, None, "apply", "f" * 64)
    changes = {
        "photos": (grading.upload("b.jpg", b"a"),),
        "reference": grading.upload("c.jpg", b"c"),
        "apply_end": "right",
        "first": "reaction",
        "rules": "e" * 64,
        "kinds": (STEEL,),
        "positions": (2,),
    }
    assert set(changes) == {field.name for field in dataclasses.fields(grading.Asked)}
    assert all(dataclasses.replace(asked, **{name: value}) != asked for name, value in changes.items())
