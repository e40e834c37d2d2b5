"""A photo said to be the same with only the lamp moved: on the page, on the phone, in record and report."""

import hashlib
import re
from pathlib import Path

import pytest

from tests.chromium import findings, needed
from tests.served import DESK, browser, press, served
from tests.stages.test_two_lights import PLATE, lamp_moved, seen_from_elsewhere, taken_again
from wearview import store as record
from wearview.cli import main
from wearview.pipeline import grade_photos
from wearview.record import build_document, parts_of
from wearview.settings import load_settings
from wearview.ui import again, tray
from wearview.ui.bench import Bench
from wearview.ui.told import told
from wearview.ui.tray import ElementName

NAME = ElementName("Job 7", "Forward")
MOVED = "[...document.querySelectorAll('button')].filter(b => b.innerText === 'lamp moved')"


@pytest.fixture
def bench(tmp_path):
    at = Bench(record.open_store(f"sqlite:///{tmp_path}/record.sqlite"))
    record.new_teardown(at.store, NAME.teardown)
    record.add_element(at.store, NAME.teardown, NAME.element)
    tray.set_reference(at.store, NAME, "clean.jpg", PLATE.read_bytes())
    yield at
    at.close()


@pytest.fixture
def pair(tmp_path):
    """The demo's clean plate, and the same with the lamp moved."""
    second = tmp_path / "b.jpg"
    second.write_bytes(taken_again(lamp_moved))
    return PLATE, second


def lay_pair(bench, first, second):
    """Give two photos, say that for the second only the lamp was moved, and have them graded."""
    for photo in (first, second):
        tray.add_photo(bench.store, NAME, f"{'ab'[photo is second]}.jpg", photo)
    order = [photo.sha256 for photo in tray.read_tray(bench.store, NAME).photos]
    tray.say_again(bench.store, NAME, again.with_beside(order, {}, 1, again.RELIT))
    bench.wake(NAME, now=True)
    bench.wait(NAME)
    return tray.read_tray(bench.store, NAME)


def said_of(bench, lying):
    return [told(bench, lying, photo, blind=False) for photo in lying.photos]


def newest(bench):
    [element] = record.get_teardown(bench.store, "Job 7").elements
    return element.latest.document


def test_a_pair_reads_on_the_page_as_by_the_command_and_both_photos_are_kept(bench, pair):
    first, second = pair
    lying = lay_pair(bench, first.read_bytes(), second.read_bytes())
    settings = load_settings()
    expected = build_document(
        grade_photos([str(first)], settings, reference=str(first), seconds=[str(second)]), settings
    )
    [photo], [found] = expected["photos"], newest(bench)["photos"]
    assert found["parts"] == photo["parts"]
    assert found["parts"][0]["glazing"]["method"] == "two lights"
    assert found["second_light"] == {"file": "b.jpg", "sha256": photo["second_light"]["sha256"]}
    one, other = said_of(bench, lying)
    assert one.shown == ["Position 1, friction plate. Level 0: clean (two lights)"]
    assert other.shown == ["Read together with photo 1: two lights."]
    assert one.change == other.change == []
    assert record.photo_bytes(bench.store, found["second_light"]["sha256"]) == second.read_bytes()
    assert record.check_record(bench.store).findings == ()


def test_the_command_keeps_both_photos_and_the_report_says_two_lights(pair, tmp_path, capsys):
    first, second = pair
    url = f"sqlite:///{tmp_path}/record.sqlite"
    store = record.open_store(url)
    record.new_teardown(store, "Job 7")
    words = ["grade", str(first), "--second-light", str(second), "--reference", str(first), "--store", url]
    assert main([*words, "--teardown", "Job 7", "--element", "Forward"]) == 0
    assert main(["check", "--store", url]) == 0
    assert main(["report", "Job 7", "--out", str(tmp_path / "out"), "--store", url]) == 0
    assert "; read by two lights, with b.jpg" in (tmp_path / "out" / "report.html").read_text("utf-8")
    sha256 = hashlib.sha256(second.read_bytes()).hexdigest()
    record.photo_path(store, sha256).unlink()
    assert main(["check", "--store", url]) != 0
    assert sha256 in capsys.readouterr().err


def test_a_photo_graded_before_is_read_again_once_its_second_light_is_said(bench, pair):
    photos = [photo.read_bytes() for photo in pair]
    for photo, name in zip(photos, ("a.jpg", "b.jpg"), strict=True):
        tray.add_photo(bench.store, NAME, name, photo)
    bench.wake(NAME, now=True)
    bench.wait(NAME)
    assert [part["glazing"]["method"] for _, part in parts_of(newest(bench))] == ["one photo"] * 2
    lay_pair(bench, *photos)
    assert [part["glazing"]["method"] for _, part in parts_of(newest(bench))] == ["two lights"]
    fresh = Bench(bench.store)  # the program started anew: what the record holds is not graded again
    try:
        fresh.look(NAME, lying := tray.read_tray(bench.store, NAME))
        fresh.wait(NAME)
        assert said_of(fresh, lying)[1].shown == ["Read together with photo 1: two lights."]
        assert fresh.seen(lying, lying.photos[0]).overlay is None
    finally:
        fresh.close()


@pytest.mark.parametrize(("unread", "says"), [(0, 0), (1, 1)])
def test_one_of_a_pair_that_cannot_be_read_is_named_and_the_other_is_graded(bench, pair, unread, says):
    photos = [photo.read_bytes() for photo in pair]
    photos[unread] = b"words"
    lying = lay_pair(bench, *photos)
    found = said_of(bench, lying)
    assert "not an image we can read" in found[says].change[0]
    assert found[1 - says].shown == ["Position 1, friction plate. Level 0: clean"]
    assert [photo["file"] for photo in newest(bench)["photos"]] == ["ab"[1 - unread] + ".jpg"]


def test_a_shot_of_other_parts_says_on_its_card_why_it_was_left_out(bench):
    for name, file in (("a.jpg", PLATE), ("b.jpg", PLATE.with_name("direct-pack-2.jpg"))):
        tray.add_photo(bench.store, NAME, name, file.read_bytes())
    first, other = (photo.sha256 for photo in tray.read_tray(bench.store, NAME).photos)
    tray.say_again(bench.store, NAME, {other: again.Again(first)})
    bench.wake(NAME, now=True)
    bench.wait(NAME)
    one, left_out = said_of(bench, tray.read_tray(bench.store, NAME))
    assert one.change == []
    assert left_out.change[0].startswith("This shot shows other parts than the first one")


@needed()
def test_pairs_are_said_by_one_tap_a_fitting_one_is_read_and_a_shaken_one_says_what_to_do(
    bench, pair, tmp_path
):
    photos = [pair[0].read_bytes(), pair[1].read_bytes(), pair[0].read_bytes() + b"\n"]
    for name, photo in zip("abcd", (*photos, taken_again(seen_from_elsewhere)), strict=True):
        tray.add_photo(bench.store, NAME, f"{name}.jpg", photo)
    url = f"sqlite:///{tmp_path}/record.sqlite"
    with served(tmp_path, url) as (address, _), browser(tmp_path, "phone", "about:blank", 360) as tab:
        tab.ask("Page.navigate", url=f"{address}/photos?teardown=Job+7&element=Forward")
        tab.wait_until_drawn("4. d.jpg")
        on = "(box => box?.checked || box?.click())(document.querySelector('[class*=st-key-again] input'))"
        tab.wait_for(f"({on}, document.body.innerText.includes('Always the lamp moved'))", pause=1)
        press(tab, "Always the lamp moved")
        tab.wait_for("document.body.innerText.includes('Read together with photo 1: two lights.')")
        tab.wait_for("document.body.innerText.includes('Left out: photo 3 is read by itself.')")
        assert "Rest the phone on something, move only the lamp, and take both again." in tab.text()
        tab.wait_until_drawn("Left out")
        for box in tab.value(
            f"{MOVED}.map(b => b.getBoundingClientRect()).map(b => [b.left, b.right, b.height])"
        ):
            assert box[0] >= 0
            assert box[1] <= 360
            assert box[2] >= 56
        assert tab.value("document.documentElement.scrollWidth") <= 360
        assert findings(tab) == []
        tab.wait_for(
            f"({press_if('That is all: grade the pack')}, {says('Graded and stored: 4 photos')})", pause=1
        )
        press(tab, "See the pack", "a")
        tab.wait_until_drawn("(two lights)")
    assert [part["glazing"]["method"] for _, part in parts_of(newest(bench))] == ["two lights", "one photo"]


@needed()
def test_a_phone_says_by_a_tap_that_only_the_lamp_was_moved(bench, pair, tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    with served(tmp_path, url, "--lan", "--address", DESK) as (address, _):
        with browser(tmp_path, "desk", f"{address}/photos?teardown=Job+7&element=Forward", 1366) as desk:
            press(desk, "Take them with a phone", "summary")
            ticket = desk.wait_for("document.querySelector('code')?.innerText")
        with browser(tmp_path, "phone", re.sub(r"^http://[^:]+", f"http://{DESK}", ticket), 360) as phone:
            for number, photo in enumerate(pair, start=1):
                phone.upload("#files", [Path(photo)])
                phone.wait_for(says(f"{number}. "))
            phone.wait_for(f"!!{MOVED}[0]")
            assert phone.value(f"{MOVED}[0].getBoundingClientRect().height") >= 56
            phone.value(f"{MOVED}[0].click()")
            phone.wait_for(says("together with photo 1: two lights."), 120)
            phone.wait_for(f"{MOVED}[0].ariaPressed === 'true'")
            assert findings(phone) == []


def says(text):
    return f"document.body.innerText.includes('{text}')"


def press_if(label):
    return f"[...document.querySelectorAll('button')].find(b => b.innerText === '{label}')?.click()"
