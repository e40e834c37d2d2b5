"""`wearview app` as a shop meets it: the command, browsers of desk and phone, the report downloaded."""

import io
import math
import re
import time

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from tests import documents
from tests.chromium import findings, needed
from tests.journeys.driven import DEMO, add_hot_pack
from tests.served import DESK, browser, press, served
from wearview import store as record
from wearview.ui import tray
from wearview.ui.bench import Bench
from wearview.ui.tray import ElementName

PAGES = {
    "": "Find by name",
    "photos": "Clean reference",
    "pack": "What the pack shows",
    "findings": "not on the checklist",
    "report": "Write the report",
    "shop": "Other devices",
    "agreement": "Nothing to compare so far",
}
pytestmark = needed()


def test_a_report_is_downloaded_in_a_browser(tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    add_hot_pack(url)
    with served(tmp_path, url) as (address, _), browser(tmp_path, "phone", address, 360) as tab:
        tab.wait_for("document.title === 'wearview'")
        press(tab, "Job 7")
        tab.wait_for("document.body.innerText.includes('What the pack shows')")
        assert tab.value("document.documentElement.scrollWidth") <= 360
        assert not tab.value("!!document.querySelector('img:not([alt])')")
        tab.ask("Page.navigate", url=f"{address}/report?teardown=Job+7")
        press(tab, "Write the report")
        tab.ask("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(tmp_path / "got"))
        press(tab, "Report for the customer")
        report = tmp_path / "got" / "report.html"
        deadline = time.monotonic() + 30
        while not report.is_file():
            assert time.monotonic() < deadline, tab.text()
            time.sleep(0.1)
        assert "Teardown report: Job 7" in report.read_text("utf-8")
        assert loaded_from_elsewhere(tab, address) == []


def loaded_from_elsewhere(tab, address):
    loaded = tab.value("performance.getEntriesByType('resource').map(entry => entry.name)")
    assert loaded
    return [name for name in loaded if not name.startswith((address, "data:", "blob:"))]


def test_a_phone_on_the_network_types_the_passcode_and_another_takes_photos_by_a_code(tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    store = record.open_store(url)
    record.new_teardown(store, "Job 7")
    record.add_element(store, "Job 7", "Forward")
    with served(tmp_path, url, "--lan", "--address", DESK) as (address, told):
        port, code = address.rpartition(":")[2], re.search(r"Passcode\s+(\S+)", told)[1]
        with browser(tmp_path, "phone", f"http://{DESK}:{port}/photos?teardown=Job+7", 360) as phone:
            for typed, says in (("wrong", "not the right one"), (code, "Take them with a phone")):
                phone.wait_for("!!document.querySelector('#passcode')")
                phone.value(f"document.querySelector('#passcode').value = '{typed}'")
                phone.value("document.querySelector('form').submit()")
                phone.wait_for(f"document.body.innerText.includes('{says}')")
            press(phone, "Take them with a phone", "summary")
            ticket = phone.wait_for("document.querySelector('code')?.innerText")
            assert loaded_from_elsewhere(phone, f"http://{DESK}:{port}") == []
            with browser(tmp_path, "other", ticket, 360) as other:
                other.wait_for("!!document.querySelector('#camera')")
                assert findings(other) == []
                other.upload("#camera", [DEMO / "direct-pack-3.jpg"])
                other.wait_for("document.body.innerText.includes('1. direct-pack-3.jpg')", 180)
                other.wait_for("document.body.innerText.includes('All photos are on the computer')")
                other.wait_for("document.body.innerText.includes('Level')", 180)
                assert loaded_from_elsewhere(other, f"http://{DESK}:{port}") == []
                other.ask("Page.navigate", url=f"http://{DESK}:{port}/pack")
                other.wait_for("!!document.querySelector('#passcode')")
                assert findings(other) == []
            phone.wait_for("document.body.innerText.includes('direct-pack-3.jpg')")


def one_photo_graded(folder, photo="direct-pack-3.jpg"):
    """A record's address, its open bench, the element and the photo given to it."""
    url = f"sqlite:///{folder}/record.sqlite"
    bench, name = Bench(record.open_store(url)), ElementName("Job 7", "Forward")
    record.new_teardown(bench.store, name.teardown)
    record.add_element(bench.store, name.teardown, name.element)
    given = tray.add_photo(bench.store, name, "a.jpg", (DEMO / photo).read_bytes())
    bench.wake(name, now=True)
    bench.wait(name)
    return url, bench, name, given


def test_rims_are_set_by_tapping_and_the_part_is_graded_in_place(tmp_path):
    url, bench, name, given = one_photo_graded(tmp_path)
    bench.close()
    [before] = newest(bench.store)
    with served(tmp_path, url) as (address, _), browser(tmp_path, "desk", "about:blank", 1440) as tab:
        tab.ask("Page.navigate", url=f"{address}/pack?teardown=Job+7&element=Forward")
        tab.wait_for("document.body.innerText.includes('Something was found wrongly')")
        tab.value("document.querySelector('.st-key-wrong input').click()")
        press(tab, "Tap the rims of position 1")
        outer = before["outline"]["outer"]
        assert shown_rim(tab) == pytest.approx([outer["cx"], outer["cy"], outer["major"]], abs=4)
        tap_rims(tab, before)
        after = wait_for_part(tab, bench.store)
    assert after["id"] == before["id"]
    for axis in ("major", "minor"):  # a tap hits a whole pixel of the window, which shows half the photo's
        assert after["outline"]["outer"][axis] == pytest.approx(before["outline"]["outer"][axis], abs=4)
    assert tray.read_tray(bench.store, name).said[given.sha256].rims


def test_a_part_that_was_missed_is_added_by_tapping_where_no_part_is_left(tmp_path):
    url, bench, name, given = one_photo_graded(tmp_path)
    [found] = newest(bench.store)
    outer = found["outline"]["outer"]
    tray.say_no_part(bench.store, name, given.sha256, (outer["cx"], outer["cy"]))
    bench.wake(name, now=True)
    bench.wait(name)
    bench.close()
    assert newest(bench.store) == []
    with served(tmp_path, url) as (address, _), browser(tmp_path, "phone", "about:blank", 360) as tab:
        tab.ask("Page.navigate", url=f"{address}/pack?teardown=Job+7&element=Forward")
        tab.wait_until_drawn("Something was found wrongly")
        tab.value("document.querySelector('.st-key-wrong input').click()")
        press(tab, "Tap the rims of the missing plate")
        tap_rims(tab, found)
        wait_for_part(tab, bench.store)
    [part] = newest(bench.store)
    assert part["outline"]["outer"]["major"] == pytest.approx(outer["major"], rel=0.02)


def test_two_shots_of_a_plate_become_one_reading_by_two_taps_on_a_phone(tmp_path):
    url, bench, name, _ = one_photo_graded(tmp_path)
    other = io.BytesIO()
    with Image.open(DEMO / "direct-pack-3.jpg") as picture:
        picture.save(other, "JPEG", quality=80)
    tray.add_photo(bench.store, name, "b.jpg", other.getvalue())
    bench.close()
    with served(tmp_path, url) as (address, _), browser(tmp_path, "phone", "about:blank", 360) as tab:
        tab.ask("Page.navigate", url=f"{address}/photos?teardown=Job+7&element=Forward")
        tab.wait_until_drawn("2. b.jpg")
        on = "(box => box?.checked || box?.click())(document.querySelector('[class*=st-key-again] input'))"
        tab.wait_for(f"({on}, document.body.innerText.includes('Beside photo 1 it shows'))", pause=1)
        button = "[...document.querySelectorAll('button')].find(b => b.innerText === '{}')"
        for label in ("other parts", "the same", "other side"):  # within a thumb's reach, none cut off
            [left, right, height] = tab.value(
                f"(box => [box.left, box.right, box.height])({button.format(label)}.getBoundingClientRect())"
            )
            assert left >= 0
            assert right <= 360
            assert height >= 44
        assert findings(tab) == []
        tab.wait_until_drawn("Beside photo 1 it shows")
        tab.value(f"{button.format('the same')}.click()")
        deadline = time.monotonic() + 90
        while "shots" not in newest(bench.store)[0]:  # graded by itself after a while, and sooner by a tap
            assert time.monotonic() < deadline, tab.text()
            tab.value(f"{button.format('That is all: grade the pack')}?.click()")
            time.sleep(0.5)
        press(tab, "See the pack", "a")
        tab.wait_until_drawn("Joined from 2 shots that agree")
    [part] = newest(bench.store)
    assert (part["position"], len(part["shots"]["ids"])) == (1, 2)


# The edges of the lining in intermediate-band.jpg, by eye.
BAND = (
    [(210, 890), (556, 926), (989, 965), (1430, 988), (1810, 999)],
    [(170, 1126), (560, 1188), (1000, 1222), (1434, 1240), (1830, 1241)],
)


def test_edges_of_a_band_are_set_by_tapping_in_any_order_and_the_band_is_graded_in_place(tmp_path):
    url, bench, name, given = one_photo_graded(tmp_path, "intermediate-band.jpg")
    bench.close()
    [before] = newest(bench.store)
    with served(tmp_path, url) as (address, _), browser(tmp_path, "phone", "about:blank", 360) as tab:
        tab.ask("Page.navigate", url=f"{address}/pack?teardown=Job+7&element=Forward")
        tab.wait_until_drawn("Something was found wrongly")
        tab.value("document.querySelector('.st-key-wrong input').click()")
        press(tab, "Tap the edges of position 1")
        tap_lines(tab, [[BAND[0][k] for k in (2, 0, 4, 1, 3)], BAND[1]])
        after = wait_for_part(tab, bench.store)
    assert (after["id"], after["kind"]) == (before["id"], "band")
    # A tap hits a whole pixel of a phone's window, which shows a fifth of the photo's.
    assert np.ptp(after["outline"]["polygon"], axis=0) == pytest.approx(
        np.ptp(np.concatenate(BAND), axis=0), abs=25
    )
    [(kept, _)] = tray.read_tray(bench.store, name).said[given.sha256].bands
    assert np.ptp(np.diff(kept, axis=0)[:, 0]) < np.ptp(kept, axis=0)[0]  # from end to end


def test_forty_photos_at_once_are_on_the_disk_and_outlive_a_reload_in_the_middle(tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    store, name = record.open_store(url), ElementName("Job 7", "Forward")
    record.new_teardown(store, name.teardown)
    record.add_element(store, name.teardown, name.element)
    photos = [tmp_path / f"{n}.jpg" for n in range(1, 41)]
    for n, photo in enumerate(photos):
        photo.write_bytes((DEMO / "direct-pack-3.jpg").read_bytes() + bytes([n]))
    with served(tmp_path, url) as (address, _), browser(tmp_path, "desk", "about:blank", 1440) as tab:
        tab.ask("Page.navigate", url=f"{address}/photos?teardown=Job+7&element=Forward")
        tab.upload("[class*=st-key-photos] input", photos)
        tab.wait_for("document.body.innerText.includes('40. 40.jpg')", 180)
        tab.ask("Page.reload")
        tab.wait_for("document.body.innerText.includes('40. 40.jpg')", 180)
        tab.wait_for("document.body.innerText.includes('Level')", 180)
        with browser(tmp_path, "other", "about:blank", 360) as other:  # a second session sees the same
            other.ask("Page.navigate", url=f"{address}/photos?teardown=Job+7&element=Forward")
            other.wait_for("document.body.innerText.includes('40. 40.jpg')", 180)
    assert [photo.name for photo in tray.read_tray(store, name).photos] == [photo.name for photo in photos]


def test_a_field_for_photos_says_what_it_takes_and_takes_it(tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    store = record.open_store(url)
    record.new_teardown(store, "Job 7")
    record.add_element(store, "Job 7", "Forward")
    names = ["a.heic", "b.png", "c.tif", "d.webp"]
    pillow_heif.register_heif_opener()
    for name in names:
        Image.new("RGB", (64, 64)).save(tmp_path / name)
    with served(tmp_path, url) as (address, _), browser(tmp_path, "phone", "about:blank", 390) as tab:
        tab.ask("Page.navigate", url=f"{address}/photos?teardown=Job+7&element=Forward")
        tab.wait_for("document.body.innerText.includes('HEIC, PNG, WebP or TIFF, up to 200 MB each')")
        assert "per file" not in tab.text()  # Streamlit's own line calls all but two of them "image"
        tab.upload("[class*=st-key-photos] input", [tmp_path / name for name in names])
        for number, name in enumerate(names, start=1):
            tab.wait_for(f"document.body.innerText.includes('{number}. {name}')")
    assert [photo.name for photo in tray.read_tray(store, ElementName("Job 7", "Forward")).photos] == names


WIDTH, HEIGHT = 2000, 1500  # of the demo's photos
IN_SHADOW = (
    "((named) => [...document.querySelectorAll('*')].map(e => e.shadowRoot)"
    ".filter(root => root?.querySelector('.told'))[0]?.querySelector(named))"
)
TAP = (
    "(() => {{ const frame = "
    + IN_SHADOW
    + "('.frame'), box = frame.querySelector('img').getBoundingClientRect();"
    " frame.dispatchEvent(new MouseEvent('click', {{clientX: box.left + box.width * {x},"
    " clientY: box.top + box.height * {y}}})); }})()"
)


def tap_rims(tab, part):
    """Tap both rims of a part on the picture that is shown."""
    tap_lines(tab, [list(points_of(part["outline"][rim])) for rim in ("outer", "inner")])


def tap_lines(tab, lines):
    """Tap points along two lines on the picture that is shown."""
    # Its height comes from the picture: a tap before that would hit another place.
    tab.wait_for(f"{IN_SHADOW}('img')?.complete && {IN_SHADOW}('img').naturalWidth > 0")
    for line in lines:
        for x, y in line:
            tab.value(TAP.format(x=x / WIDTH, y=y / HEIGHT))
        tab.value(f"{IN_SHADOW}('.next').click()")


def shown_rim(tab):
    """Centre and length of the outer rim as it is drawn over the photo, in the photo's pixels."""
    picture, rim = (f"{IN_SHADOW}('{named}')" for named in ("img", ".found ellipse"))
    tab.wait_for(f"{picture}?.complete && {picture}.naturalWidth > 0")
    return tab.value(
        f"((box, rim) => {{ const scale = {WIDTH} / box.width, to = rim.getScreenCTM();"
        " const at = new DOMPoint(rim.cx.baseVal.value, rim.cy.baseVal.value).matrixTransform(to);"
        " return [(at.x - box.left) * scale, (at.y - box.top) * scale,"
        " 2 * rim.rx.baseVal.value * Math.hypot(to.a, to.b) * scale]; })"
        f"({picture}.getBoundingClientRect(), {rim})"
    )


def wait_for_part(tab, store):
    """The part whose rims a person set, once it is graded."""
    deadline = time.monotonic() + 90
    while not (parts := newest(store)) or not parts[0]["outline"].get("stated"):
        assert time.monotonic() < deadline, tab.text()
        time.sleep(0.2)
    return parts[0]


def newest(store):
    [element] = record.get_teardown(store, "Job 7").elements
    return element.latest.document["photos"][0]["parts"]


def points_of(rim, count=6):
    turn, half = math.radians(rim["angle_deg"]), (rim["major"] / 2, rim["minor"] / 2)
    for k in range(count):
        along, across = half[0] * math.cos(k * math.tau / count), half[1] * math.sin(k * math.tau / count)
        yield (
            rim["cx"] + along * math.cos(turn) - across * math.sin(turn),
            rim["cy"] + along * math.sin(turn) + across * math.cos(turn),
        )


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1440, "light")])
def test_no_page_has_a_serious_fault_of_access(tmp_path, width, scheme):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    add_hot_pack(url)
    documents.add_beside(record.open_store(url), "Job 7")
    record.add_inspection(record.open_store(url), "Job 7", "drum", "nothing-found")
    with served(tmp_path, url) as (address, _), browser(tmp_path, "desk", "about:blank", width) as tab:
        tab.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
        for page, shows in PAGES.items():
            tab.ask("Page.navigate", url=f"{address}/{page}?teardown=Job+7&element=Forward")
            tab.wait_until_drawn(shows)
            assert findings(tab) == [], page
            assert tab.value("document.documentElement.scrollWidth") <= width
