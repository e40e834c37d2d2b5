"""`wearview app` as a shop meets it: the command, browsers of desk and phone, the report downloaded."""

import contextlib
import math
import os
import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.chromium import findings, needed, open_tab
from tests.journeys.test_app import DEMO, add_hot_pack
from wearview import store as record
from wearview.ui import tray
from wearview.ui.bench import Bench
from wearview.ui.tray import ElementName

ROOT = Path(__file__).parents[2]
DESK = "127.0.0.2"  # this machine under an address that the page takes for another device's way in
PAGES = {
    "": "Find by name",
    "photos": "Clean reference",
    "pack": "What the pack shows",
    "report": "Write the report",
}
pytestmark = needed()


@contextlib.contextmanager
def served(folder, url, *options):
    """The page from another folder than the checkout, as an installed program has it; its address and what
    the terminal said."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    # Options that the command does not take are those of the program it starts.
    program = ["wearview.ui.serve"] if options else ["wearview.cli", "app", "--store", url]
    command = [sys.executable, "-m", *program, "--port", str(port), *options]
    environment = os.environ | {"PYTHONPATH": str(ROOT), "WEARVIEW_STORE": url}
    with subprocess.Popen(
        command, cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as server:
        try:
            told = ""
            while f" URL: http://{DESK if options else 'localhost'}:{port}" not in told:
                line = server.stdout.readline()
                assert line, f"the page did not start: {told}"
                told += line
            yield f"http://localhost:{port}", told
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(timeout=30)
    with socket.socket() as taken:
        assert taken.connect_ex(("127.0.0.1", port)) != 0, "the server outlived its command"


@contextlib.contextmanager
def browser(folder, name, address, width):
    """A browser of its own, which remembers nothing of another one's."""
    (folder / name).mkdir()
    with open_tab(folder / name, address, width=width) as tab:
        yield tab


def press(tab, label, kind="button"):
    """Press the first button, or another kind of element, with this label."""
    every = f"[...document.querySelectorAll('{kind}')]"
    found = f"{every}.find(b => b.innerText.includes('{label}'))"
    tab.wait_for(f"!!{found}")
    tab.value(f"{found}.click()")


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
                other.wait_for("document.body.innerText.includes('All photos are on the computer')")
                other.wait_for("document.body.innerText.includes('Level')")
                assert loaded_from_elsewhere(other, f"http://{DESK}:{port}") == []
                other.ask("Page.navigate", url=f"http://{DESK}:{port}/pack")
                other.wait_for("!!document.querySelector('#passcode')")
                assert findings(other) == []
            phone.wait_for("document.body.innerText.includes('direct-pack-3.jpg')")


def test_rims_are_set_by_tapping_and_the_part_is_graded_in_place(tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    bench, name = Bench(record.open_store(url)), ElementName("Job 7", "Forward")
    record.new_teardown(bench.store, name.teardown)
    record.add_element(bench.store, name.teardown, name.element)
    given = tray.add_photo(bench.store, name, "a.jpg", (DEMO / "direct-pack-3.jpg").read_bytes())
    bench.wake(name, now=True)
    bench.wait(name)
    bench.close()
    [before] = newest(bench.store)
    with served(tmp_path, url) as (address, _), browser(tmp_path, "desk", "about:blank", 1440) as tab:
        tab.ask("Page.navigate", url=f"{address}/pack?teardown=Job+7&element=Forward")
        tab.wait_for("document.body.innerText.includes('Something was found wrongly')")
        tab.value("document.querySelector('.st-key-wrong input').click()")
        press(tab, "Tap the rims of position 1")
        tab.wait_for(f"{IN_SHADOW}('.told') && {IN_SHADOW}('img').complete")
        for rim in ("outer", "inner"):
            for x, y in points_of(before["outline"][rim]):
                tab.value(TAP.format(x=x / WIDTH, y=y / HEIGHT))
            tab.value(f"{IN_SHADOW}('.next').click()")
        deadline = time.monotonic() + 90
        while not (after := newest(bench.store)[0])["outline"].get("stated"):
            assert time.monotonic() < deadline, tab.text()
            time.sleep(0.2)
    assert after["id"] == before["id"]
    for axis in ("major", "minor"):  # a tap hits a whole pixel of the window, which shows half the photo's
        assert after["outline"]["outer"][axis] == pytest.approx(before["outline"]["outer"][axis], abs=4)
    assert tray.read_tray(bench.store, name).said[given.sha256].rims


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
    with served(tmp_path, url) as (address, _), browser(tmp_path, "desk", "about:blank", width) as tab:
        tab.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
        for page, shows in PAGES.items():
            tab.ask("Page.navigate", url=f"{address}/{page}?teardown=Job+7&element=Forward")
            tab.wait_until_drawn(shows)
            assert findings(tab) == [], page
            assert tab.value("document.documentElement.scrollWidth") <= width
