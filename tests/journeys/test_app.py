"""The page: giving photos, seeing the pack, deciding, handing over, through Streamlit's own test driver."""

import io
import tomllib
from collections import Counter
from pathlib import Path

import pytest
import streamlit as st
from PIL import Image
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.local_script_runner import LocalScriptRunner

from tests import documents
from tests.journeys.driven import (
    DEMO,
    NAME,
    ROOT,
    add_hot_pack,
    element_of,
    give,
    give_clean,
    graded,
    lying,
    photo,
    press,
    run,
    shown,
    turn_to,
    widget,
)
from wearview import library
from wearview import store as record
from wearview.pipeline import grade_photos
from wearview.record import PACK, build_document, parts_of
from wearview.settings import load_settings
from wearview.terms import CAUTIONS, FRICTION, REASONS, STEEL, VERDICTS
from wearview.ui import bench, gate, tray
from wearview.ui.words import plain

SCRIPT = str(ROOT / "wearview/ui/start/app.py")
PLATES, LAST, CLEAN = "direct-pack-2.jpg", "direct-pack-3.jpg", "reference-tan.jpg"
PHOTOS, PACK_PAGE, REPORT = (f"wearview/ui/pages/{name}.py" for name in ("photos", "pack", "report"))


@pytest.fixture
def url(tmp_path, monkeypatch):
    address = f"sqlite:///{tmp_path}/record.sqlite"
    monkeypatch.setenv("WEARVIEW_STORE", address)
    st.cache_data.clear()
    st.cache_resource.clear()
    yield address
    bench.bench_of(address).close()


@pytest.fixture
def app(url):
    return run(AppTest.from_file(SCRIPT, default_timeout=60))


@pytest.fixture
def photos_page(app, url):
    """The page Photos with an empty element open."""
    store = record.open_store(url)
    record.new_teardown(store, "Job 7")
    record.add_element(store, "Job 7", "Forward")
    press(run(app), "open Job 7")
    return turn_to(app, PHOTOS)


@pytest.fixture
def pack_page(app, url):
    """The page Pack with three graded plates; their ids are in its session."""
    app.session_state["ids"] = add_hot_pack(url)
    press(run(app), "open Job 7")
    return turn_to(app, PACK_PAGE)


def test_an_empty_record_says_what_to_do_and_offers_to_open_a_teardown(app):
    assert "A teardown is one unit opened for one customer" in app.info[0].value
    assert widget(app, "text_input", "name")


@pytest.mark.parametrize("page", ["wearview/ui/pages/teardowns.py", PHOTOS, PACK_PAGE, REPORT])
def test_cautions_stand_on_every_page(app, page):
    text = shown(turn_to(app, page))
    assert all(caution in text for caution in CAUTIONS)


@pytest.mark.parametrize("page", [PHOTOS, PACK_PAGE, REPORT])
def test_a_page_without_a_teardown_says_where_to_choose_one(app, page):
    assert "Choose or open one on the page Teardowns" in turn_to(app, page).info[0].value


def test_a_teardown_is_opened_and_takes_its_first_element(app, url):
    widget(app, "text_input", "name").set_value("Job 7")
    widget(app, "selectbox", "wish").set_value("make it fresh")
    press(app, "open teardown")
    turn_to(app, PHOTOS)
    widget(app, "text_input", "element name").set_value("Direct")
    widget(app, "text_input", "words").set_value("warm at the far end")
    widget(app, "selectbox", "expects").set_value("shift")
    press(app, "add element")
    element = element_of(url)
    assert (element.name, element.duty.expects, element.duty.words) == (
        "Direct",
        "shift",
        "warm at the far end",
    )
    assert app.pills(key="element").value == "Direct"


def test_a_second_element_is_added_beside_the_first_and_is_the_one_that_is_open(photos_page, url):
    widget(photos_page, "text_input", "element name").set_value("Direct")
    press(photos_page, "add element")
    assert photos_page.pills(key="element").value == "Direct"
    give(photos_page, photo(PLATES))
    direct = tray.read_tray(record.open_store(url), tray.ElementName("Job 7", "Direct"))
    assert [one.name for one in direct.photos] == [PLATES]


def test_a_teardown_is_found_by_any_of_its_facts(app, url):
    store = record.open_store(url)
    record.new_teardown(store, "Job 7", serial="HL-20417")
    record.new_teardown(store, "Job 8", customer_ref="blue van")
    run(app)
    app.text_input(key="find").set_value("hl-204")
    assert [b.key for b in run(app).button if b.key.startswith("open Job")] == ["open Job 7"]
    app.text_input(key="find").set_value("red van")
    assert "No teardown matches" in run(app).info[0].value


def test_photos_are_kept_before_they_are_graded_and_a_new_session_finds_them(photos_page, url):
    give(photos_page, photo(PLATES, "C:\\jobs\\a.jpg"))
    assert lying(url) == ["a.jpg"]
    kept = tray.read_tray(record.open_store(url), NAME).photos[0]
    assert record.photo_bytes(record.open_store(url), kept.sha256) == (DEMO / PLATES).read_bytes()
    other = AppTest.from_file(SCRIPT, default_timeout=60)
    other.query_params.update(teardown="Job 7", element="Forward")
    turn_to(run(other), PHOTOS)
    assert "a\\.jpg" in shown(other)


def test_a_pack_that_the_record_no_longer_holds_is_graded_again(photos_page, url):
    give(photos_page, photo(PLATES))
    store = record.open_store(url)
    # As after a record whose file was deleted: the tray lies beside it.
    tray.note_graded(store, NAME, tray.read_tray(store, NAME))
    assert "their grades are no longer in the record" in shown(run(photos_page))
    assert "Graded and stored" not in shown(photos_page)
    press(photos_page, "grade again")
    bench.bench_of(url).wait(NAME)
    assert "Graded and stored: 1 photo." in shown(run(photos_page))
    assert len(element_of(url).gradings) == 1


def test_what_stands_below_has_its_place_though_nothing_of_the_tray_was_sent(photos_page, monkeypatch):
    # What Streamlit drops where the tray looks again before its page was sent. A browser goes blank where
    # anything is put behind a place that is not there.
    sent = []
    every = LocalScriptRunner.forward_msgs
    monkeypatch.setattr(LocalScriptRunner, "forward_msgs", lambda self: kept(every(self), sent))
    give(photos_page, photo(PLATES))
    deltas = [message for message in sent if message.WhichOneof("type") == "delta"]
    left = [message for message in deltas if not message.delta.fragment_id]
    assert len(left) < len(deltas)
    known = Counter()
    for message in left:
        *around, place = message.metadata.delta_path
        assert place <= known[tuple(around)]
        known[tuple(around)] = max(place + 1, known[tuple(around)])


def kept(messages, last):
    """The messages of a run, kept as the last ones."""
    last[:] = messages
    return messages


def test_the_page_stores_what_the_command_finds(photos_page, url):
    give_clean(photos_page, photo(CLEAN))
    give(photos_page, photo(PLATES), photo(LAST))
    graded(photos_page, url)
    settings = load_settings()
    expected = build_document(
        grade_photos([str(DEMO / PLATES), str(DEMO / LAST)], settings, reference=str(DEMO / CLEAN)), settings
    )
    for entry in [*expected["photos"], expected["reference"]]:
        entry["file"] = Path(entry["file"]).name
    assert element_of(url).latest.document == expected
    assert set(element_of(url).latest.overlays) == {entry["sha256"] for entry in expected["photos"]}
    assert "Graded and stored: 2 photos" in shown(photos_page)


def test_what_is_graded_is_not_graded_again_until_the_photos_change(photos_page, url):
    graded(give(photos_page, photo(LAST)), url)
    turn_to(photos_page, PACK_PAGE)
    turn_to(photos_page, PHOTOS)
    bench.bench_of(url).wake(NAME, now=True)
    bench.bench_of(url).wait(NAME)
    assert len(element_of(url).gradings) == 1
    graded(give(photos_page, photo(PLATES)), url)
    assert len(element_of(url).gradings) == 2


def test_photos_go_by_name_with_photo_2_before_photo_10_or_as_moved(photos_page, url):
    give(photos_page, photo(LAST, "IMG_10.jpg"), photo(PLATES, "IMG_2.jpg"))
    assert lying(url) == ["IMG_2.jpg", "IMG_10.jpg"]
    last = tray.read_tray(record.open_store(url), NAME).photos[-1].sha256[:12]
    press(photos_page, f"earlier {last}")
    assert lying(url) == ["IMG_10.jpg", "IMG_2.jpg"]
    press(photos_page, f"out {last}")
    assert lying(url) == ["IMG_2.jpg"]


def test_two_shots_become_one_reading_and_are_taken_apart_again(photos_page, url):
    give_clean(photos_page, photo(CLEAN))
    other = io.BytesIO()
    with Image.open(DEMO / LAST) as picture:
        picture.save(other, "JPEG", quality=80)
    graded(give(photos_page, photo(LAST, "a.jpg"), ("b.jpg", other.getvalue(), "image/jpeg")), url)
    assert [place(part) for part in parts(url)] == [(1, None), (2, None)]
    photos_page.toggle(key="again Job 7 Forward").set_value(True)
    beside(run(photos_page), "same")
    graded(photos_page, url)
    first, again = parts(url)
    assert (place(first), first["shots"]["ids"]) == ((1, None), [first["id"], again["id"]])
    assert again["shot_of"] == first["id"]
    beside(photos_page, "turned")
    graded(photos_page, url)
    assert [place(part) for part in parts(url)] == [(1, "apply"), (1, "reaction")]
    assert turn_to(photos_page, PACK_PAGE).session_state["plate"]
    assert [b.label.split("**")[1] for b in photos_page.button if b.key.startswith("plate-")] == ["1a", "1r"]
    beside(turn_to(photos_page, PHOTOS), "own")
    graded(photos_page, url)
    assert [place(part) for part in parts(url)] == [(1, None), (2, None)]
    press(photos_page, "pairs turned")  # of all photos at once
    assert [one.side for one in tray.read_tray(record.open_store(url), NAME).shows] == ["apply", "reaction"]


def parts(url):
    return [part for entry in element_of(url).latest.document["photos"] for part in entry["parts"]]


def place(part):
    return part["position"], part.get("side")


def beside(app, what):
    [asked] = [w for w in app.get("button_group") if (w.key or "").startswith("beside")]
    asked.set_value(what)
    return run(app)


def test_an_unreadable_photo_is_named_and_another_takes_its_place(photos_page, url):
    give(photos_page, ("![a picture](from_elsewhere).jpg", b"words", "image/jpeg"), photo(LAST))
    bench.bench_of(url).wake(NAME, now=True)
    bench.bench_of(url).wait(NAME)
    run(photos_page)
    assert plain("![a picture](from_elsewhere).jpg: not an image we can read") in photos_page.warning[0].value
    [again] = [w for w in photos_page.file_uploader if w.key.startswith("again")]
    again.set_value(photo(PLATES, "b.jpg"))
    run(photos_page)
    assert lying(url) == ["b.jpg", LAST]
    assert len(element_of(url).latest.document["photos"]) == 1


def test_a_reference_that_cannot_serve_is_an_error_in_words(photos_page, url):
    give_clean(photos_page, ("clean.jpg", b"words", "image/jpeg"))
    graded(give(photos_page, photo(LAST)), url)
    assert photos_page.error[0].value.startswith(plain("clean.jpg: "))
    assert element_of(url).gradings == ()


def test_a_reference_serves_another_element_of_the_unit_too(photos_page, url):
    give_clean(photos_page, photo(CLEAN))
    record.add_element(record.open_store(url), "Job 7", "Direct")
    run(photos_page)
    photos_page.pills(key="element").set_value("Direct")
    press(run(photos_page), "reference 0")
    given = tray.read_tray(record.open_store(url), tray.ElementName("Job 7", "Direct"))
    assert given.reference.name == CLEAN


def test_without_a_clean_plate_it_is_said_which_of_the_shops_linings_it_is(app, url, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    clean = library.measure_clean(str(DEMO / CLEAN), load_settings())
    library.add("tan-paper", [clean], False)
    library.add("tan-twin", [clean], False)  # which of them it is, its colour does not tell
    store = record.open_store(url)
    record.new_teardown(store, "Job 7")
    record.add_element(store, "Job 7", "Forward")
    press(run(app), "open Job 7")
    page = turn_to(app, PHOTOS)
    [which] = [box for box in page.selectbox if box.key and box.key.startswith("lining of")]
    assert which.value == which.options[0]  # nothing is said so far
    which.select("tan-paper")
    graded(give(run(page), photo(PLATES)), url)
    document = element_of(url).latest.document
    assert (document["reference"]["source"], document["reference"]["lining"]) == ("library", "tan-paper")
    lined = [part for _, part in parts_of(document) if part["kind"] == FRICTION]
    assert lined
    assert all(part["discoloration"] for part in lined)
    assert plain("Clean reference: tan-paper") in [box.label for box in page.expander]


def test_the_row_has_a_button_for_every_plate_in_words_and_opens_at_the_worst(pack_page):
    ids = pack_page.session_state["ids"]
    row = [b.label for b in pack_page.button if b.key.startswith("plate-")]
    assert [label.split("**")[1] for label in row] == ["1", "2", "3"]
    assert all(any(word in label for word in ("clean", "burnt", "heat", "bare", "blue")) for label in row)
    assert pack_page.session_state["plate"] in ids
    text = shown(pack_page)
    assert "apply end" in text
    assert "reaction end" in text
    press(pack_page, f"plate-{ids[0]}")
    assert pack_page.session_state["plate"] == ids[0]
    assert any(heading.value.startswith("Position 1") for heading in pack_page.subheader)


def test_a_plate_tells_its_numbers_its_reasons_and_what_it_was_compared_with(pack_page, url):
    element = element_of(url)
    for entry in element.latest.document["photos"]:
        for part in entry["parts"]:
            text = shown(press(pack_page, f"plate-{part['id']}"))
            assert all(sentence in text for sentence in part["grade"]["because"])
            assert "Chance of each level" in text
    assert "Compared with" in text


def test_a_verdict_takes_two_taps_and_stands_beside_the_grade(pack_page, url):
    ids = pack_page.session_state["ids"]
    press(pack_page, f"plate-{ids[2]}")
    widget(pack_page, "pills", "heat").set_value(2)
    pack_page.text_input(key="by typed").set_value("bench 2")
    widget(pack_page, "text_area", "note").set_value("<b>as asked</b>")
    run(pack_page)
    pack_page.menu_button(key="verdict reuse").click("wish")
    run(pack_page)
    [given] = element_of(url).verdicts
    assert (given.target, given.part_id) == ("3", ids[2])
    assert (given.decision, given.reason, given.heat, given.by) == ("reuse", "wish", 2, "bench 2")
    assert element_of(url).latest.document["photos"][1]["parts"][0]["grade"]["level"] == 3
    assert "&lt;b&gt;as asked&lt;/b&gt;" in shown(pack_page)
    assert "_reuse_" in pack_page.button(key=f"plate-{ids[2]}").label
    assert widget(pack_page, "text_area", "note").value == ""
    assert pack_page.text_input(key="by typed").value == "bench 2"


def test_a_verdict_on_the_whole_pack_or_on_a_part_outside_it(pack_page, url):
    [control] = [w for w in pack_page.get("button_group") if (w.key or "").startswith("target")]
    control.set_value(PACK)
    run(pack_page)
    pack_page.menu_button(key="verdict replace").click("age")
    run(pack_page)
    assert "with the whole pack: replace" in shown(pack_page)  # of a plate without a verdict of its own
    below = [e.value for e in pack_page.main if e.type in ("success", "subheader")]
    assert below[below.index("Your verdict") + 1] == plain("Stored: the whole pack: replace.")
    widget(pack_page, "text_input", "named").set_value("drum")
    run(pack_page)
    pack_page.menu_button(key="verdict leave").click("no reason given")
    run(pack_page)
    given = [(v.target, v.part_id, v.decision, v.reason) for v in element_of(url).verdicts]
    assert given == [("pack", None, "replace", "age"), ("drum", None, "leave", None)]


def test_every_decision_offers_every_reason(pack_page):
    for decision in VERDICTS:
        assert len(pack_page.menu_button(key=f"verdict {decision}").options) == len(REASONS) + 1


def test_kinds_and_positions_are_put_right_by_a_person(photos_page, url):
    graded(give(photos_page, photo(LAST)), url)
    app = turn_to(photos_page, PACK_PAGE)
    app.toggle(key="wrong").set_value(True)
    run(app)
    [part] = element_of(url).latest.document["photos"][0]["parts"]
    other = STEEL if part["kind"] != STEEL else FRICTION
    app.number_input[0].set_value(11)
    next(box for box in app.selectbox if box.label.startswith("Kind")).set_value(other)
    press(app, "correct parts")
    [corrected] = element_of(url).latest.document["photos"][0]["parts"]
    assert (corrected["position"], corrected["kind"], corrected["kind_confidence"]) == (11, other, 1.0)
    assert corrected["id"] == part["id"]
    assert len(element_of(url).gradings) == 2


def test_what_a_person_calls_no_part_leaves_the_pack_and_comes_back(photos_page, url):
    graded(give(photos_page, photo(PLATES)), url)
    app = turn_to(photos_page, PACK_PAGE)
    before = [part["id"] for part in element_of(url).latest.document["photos"][0]["parts"]]
    app.toggle(key="wrong").set_value(True)
    press(app, f"plate-{before[0]}")
    press(app, "no part")
    after = [part["id"] for part in element_of(url).latest.document["photos"][0]["parts"]]
    assert after == before[1:]
    press(app, "as found")
    again = [part["id"] for part in element_of(url).latest.document["photos"][0]["parts"]]
    assert again == before


def test_a_band_that_is_none_is_called_no_part_and_comes_back(photos_page, url):
    graded(give(photos_page, photo("intermediate-band.jpg")), url)
    app = turn_to(photos_page, PACK_PAGE)
    [before] = element_of(url).latest.document["photos"][0]["parts"]
    app.toggle(key="wrong").set_value(True)
    press(app, f"plate-{before['id']}")
    press(app, "no part")
    assert element_of(url).latest.document["photos"][0]["parts"] == []
    press(app, "as found")
    assert [part["id"] for part in element_of(url).latest.document["photos"][0]["parts"]] == [before["id"]]


def test_the_report_is_offered_until_the_record_grows(app, url):
    add_hot_pack(url)
    press(run(app), "open Job 7")
    turn_to(app, REPORT)
    assert not app.download_button
    press(app, "write report")
    keys = [button.key for button in app.download_button]
    assert set(keys) >= {"report.html", "photos.zip", "parts.csv"}
    record.add_verdict(record.open_store(url), "Job 7", "Forward", "1", "replace")
    assert not run(app).download_button


def test_a_phone_is_shown_a_code_only_where_the_network_is_open(photos_page, monkeypatch):
    assert "wearview app --lan" in shown(photos_page)
    monkeypatch.setattr(gate.the_gate(), "address", "http://192.168.0.2:8501")
    run(photos_page)
    [address] = [code.value for code in photos_page.code]
    assert gate.the_gate().ticket(address.rpartition("/")[2]).name == NAME
    assert "Nothing on the way is encrypted" in shown(photos_page)


def test_photos_left_out_of_a_report_are_in_none_of_its_files(app, url):
    add_hot_pack(url)
    press(run(app), "open Job 7")
    turn_to(app, REPORT)
    left_out = element_of(url).latest.document["photos"][0]["sha256"]
    app.multiselect(key="left out").set_value([left_out])
    press(run(app), "write report")
    press(app, "hand over")
    [handed] = record.handovers(record.open_store(url), "Job 7")
    html = record.photo_bytes(record.open_store(url), handed.files["report.html"]).decode("utf-8")
    assert html.count("<img") == len(element_of(url).latest.document["photos"]) - 1
    assert "Kept as it was handed over" in shown(app)


def test_heat_where_none_is_expected_is_said_first(pack_page, url):
    record.state_duty(record.open_store(url), "Job 7", "Forward", {"expects": "clean"})
    assert "Heat where none is expected" in run(pack_page).warning[0].value


def test_an_earlier_teardown_of_the_same_unit_stands_beside_this_one(app, url):
    add_hot_pack(url)
    store = record.open_store(url)
    record.change_teardown(store, "Job 7", serial="HL-1")
    record.new_teardown(store, "Job 8", serial="hl 1")
    document, photos = documents.hot_pack()
    files = [record.GradedPhoto(data, data) for data in photos.values()]
    record.add_grading(store, "Job 8", "Forward", document, files)
    press(run(app), "open Job 8")
    turn_to(app, PACK_PAGE)
    assert any(heading.value == "Then and now" for heading in app.subheader)
    assert "**Job 7**" in shown(app)
    assert "nothing decided then; level as it was" in shown(app)


def test_a_record_that_cannot_be_opened_is_said_in_words(app, monkeypatch):
    monkeypatch.setenv("WEARVIEW_STORE", "nonsense")
    assert "no database URL" in run(app).error[0].value
    monkeypatch.undo()


def test_both_scripts_are_served_to_this_computer_only_and_tell_nobody():
    beside_app = (ROOT / ".streamlit" / "config.toml").read_text("utf-8")
    assert (ROOT / "wearview/ui/start/.streamlit/config.toml").read_text("utf-8") == beside_app
    config = tomllib.loads(beside_app)
    assert config["server"]["address"] == "localhost"
    assert config["browser"]["gatherUsageStats"] is False
