"""The report in a real browser: nothing in a name runs, and a phone needs no sideways scrolling."""

import re
import subprocess
from html import unescape

import pytest
from PIL import Image

from tests import documents
from tests.chromium import BROWSER, findings, needed, open_tab
from wearview.record import Element, Grading, Teardown, Verdict
from wearview.report import write_report

WHEN = "2024-05-03T10:00:00+00:00"
pytestmark = needed()

# Each would change the title if the browser took it for code.
HOSTILE = (
    '<script>document.title = "ran"</script>',
    "<img src=x onerror=\"document.title = 'ran'\">",
    '"><svg onload="document.title = \'ran\'">',
    "javascript:document.title='ran'",
)


def browse(folder, page, *options):
    command = [BROWSER, "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"]
    command += [
        f"--user-data-dir={folder / 'profile'}",
        "--virtual-time-budget=2000",
        *options,
        page.as_uri(),
    ]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=True).stdout


def report(folder, name, element_name, note, file):
    document, photos = documents.hot_pack()
    document["photos"][0]["file"] = file
    document["photos"][0]["parts"][0]["grade"]["because"] = [note]
    ids = document["pack"]["order"]
    verdicts = (Verdict("1", ids[0], "replace", 1, "wish", note, note, WHEN),)
    element = Element(element_name, note, (Grading(document, "f" * 64, WHEN, {}),), verdicts)
    write_report(Teardown(name, note, note, note, note, WHEN, (element,)), photos.__getitem__, folder)
    return folder / "report.html"


@pytest.mark.parametrize("hostile", HOSTILE)
def test_nothing_typed_into_a_name_or_a_note_runs(tmp_path, hostile):
    page = report(tmp_path, hostile, hostile, hostile, f"{hostile}.jpg")
    shown = browse(tmp_path, page, "--dump-dom")
    title = unescape(re.search(r"<title>(.*?)</title>", shown, re.DOTALL)[1])
    assert title == f"Teardown report: {hostile}"


@pytest.mark.parametrize("width", [390, 1100])
def test_the_page_is_no_wider_than_the_screen(tmp_path, width):
    page = report(
        tmp_path, "A" * 120, "Forward", "word " * 60, "a-long-file-name-without-any-break" * 4 + ".jpg"
    )
    # The report forbids scripts to itself, so a page around it asks how wide it became.
    framing = tmp_path / "frame.html"
    source = page.read_text("utf-8").replace('<meta http-equiv="Content-Security-Policy"', "<meta name=none")
    (tmp_path / "inner.html").write_text(source, "utf-8")
    framing.write_text(
        f'<iframe src="inner.html" style="width:{width}px;height:900px;border:0"></iframe>'
        '<p id="out"></p><script>'
        "onload = () => { const d = document.querySelector('iframe').contentDocument.documentElement;"
        "document.getElementById('out').textContent = `${d.scrollWidth} of ${d.clientWidth}`; }</script>"
    )
    shown = browse(
        tmp_path, framing, "--dump-dom", "--allow-file-access-from-files", "--window-size=1300,1000"
    )
    became, screen = map(int, re.search(r'id="out">(\d+) of (\d+)<', shown).groups())
    assert screen == width
    assert became <= screen


def test_the_pictures_and_the_pack_drawing_are_there(tmp_path):
    page = report(tmp_path, "Job 7", "Forward", "seen", "a.jpg")
    shot = tmp_path / "shot.png"
    browse(tmp_path, page, f"--screenshot={shot}", "--window-size=390,3000")
    picture = Image.open(shot).convert("RGB")
    assert picture.width == 390
    colours = {colour for _, colour in picture.getcolors(maxcolors=2**24)}
    # The drawn levels of the pack (0, 1 and 3) and the orange square of the test photo, near enough for its
    # JPEG.
    for wanted in ((0xE4, 0xF3, 0xFB), (0xEA, 0xBC, 0x45), (0xA5, 0x2C, 0x35), (200, 160, 90)):
        assert any(max(abs(a - b) for a, b in zip(wanted, c, strict=True)) <= 6 for c in colours)


@pytest.mark.parametrize("width", [360, 1100])
def test_the_report_has_no_serious_fault_of_access(tmp_path, width):
    address = report(tmp_path, "Job 7", "Forward", "seen", "a.jpg").as_uri()
    with open_tab(tmp_path / "profile", address, width=width) as tab:
        tab.wait_for("document.readyState === 'complete'")
        assert findings(tab) == []
