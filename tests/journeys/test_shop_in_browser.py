"""The page Shop in a real browser: the mat printed and measured, an uneven clean plate asked about."""

import time

from tests.chromium import DONE, findings, needed
from tests.journeys.driven import DEMO
from tests.scenes.printed import jpeg
from tests.served import browser, press, served
from tests.stages.test_known_light import AFTER, CHART, Board, photo
from wearview.library import read_library
from wearview.mat import design_for
from wearview.mat.sheet import mat_pdf
from wearview.shop import shop_settings

pytestmark = needed()
ENTER = {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13, "text": "\r"}


def test_the_mat_is_printed_and_its_colours_are_measured_from_the_page(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "mat.jpg").write_bytes(jpeg(photo(17, darker=0.7, boards=[Board(0, 0, 109, 0, CHART)])))
    url = f"sqlite:///{tmp_path}/record.sqlite"
    with served(tmp_path, url) as (address, _), browser(tmp_path, "phone", f"{address}/shop", 390) as tab:
        tab.wait_until_drawn("Other devices")
        tab.ask("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(tmp_path / "got"))
        press(tab, "Mat for US letter paper")
        wait_for_file(tmp_path / "got" / "wearview-mat-letter.pdf", mat_pdf(design_for("letter")))
        press(tab, "Its colours as printed: not measured so far", "summary")
        for file, says in (
            (DEMO / "direct-pack-1.jpg", "direct-pack-1.jpg: no bench mat was found in it."),
            (tmp_path / "mat.jpg", f"are kept: measured beside a 24-patch chart ({AFTER})"),
        ):
            tab.upload("[class*=st-key-bare-mat] input", [file])
            press_until(tab, "calibrate-mat", says)
        assert "Its colours as printed: measured beside a 24-patch chart" in tab.text()
        assert findings(tab) == []
        assert tab.value("document.documentElement.scrollWidth") <= 390
    assert shop_settings().mat.by == "chart"


def press_until(tab, key, says):
    """Press a button until the page says something: a file may still be on its way at the first time.

    Never while the page is at work: pressed then, it would begin to measure anew each time.
    """
    pressed = f"document.querySelector('{DONE} .st-key-{key} button:not(:disabled)')?.click()"
    tab.wait_for(f"document.body.innerText.includes('{says}') || ({pressed}, false)", pause=0.5)
    tab.wait_until_drawn(says)  # with the fields for the next one, not those that are about to go


def wait_for_file(path, data):
    deadline = time.monotonic() + 30
    while not path.is_file() or path.read_bytes() != data:
        assert time.monotonic() < deadline
        time.sleep(0.1)


def test_a_lining_of_an_uneven_plate_is_kept_and_asked_about_where_one_looks(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    url = f"sqlite:///{tmp_path}/record.sqlite"
    with served(tmp_path, url) as (address, _), browser(tmp_path, "phone", f"{address}/shop", 390) as tab:
        tab.wait_until_drawn("Other devices")
        press(tab, "Add clean plates", "summary")
        for name, file in (("tan", "reference-tan.jpg"), ("band", "intermediate-band.jpg")):
            tab.wait_for("!!document.querySelector('[class*=st-key-lining] input')")
            tab.value("document.querySelector('[class*=st-key-lining] input').focus()")
            tab.ask("Input.insertText", text=name)
            tab.ask("Input.dispatchKeyEvent", type="keyDown", **ENTER)
            tab.upload("[class*=st-key-clean-plates] input", [DEMO / file])
            press_until(tab, "keep-lining", f"Kept: {name}, version 1.")
            asked = "Is this plate unused?" in tab.text()
            assert asked == (name == "band")
        tab.wait_until_drawn("Take one out of use")
        every = "[...document.querySelectorAll('[data-testid=stAlert]')]"
        alert = f"{every}.find(alert => alert.innerText.includes('unused'))"
        assert "intermediate-band.jpg: a face is uneven" in tab.value(f"{alert}.innerText")
        assert not tab.value(f"{alert}.innerText.includes('Kept')")  # a question of its own, not in good news
        assert findings(tab) == []
    assert sorted(read_library()) == ["band", "tan"]
