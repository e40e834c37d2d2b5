"""Photos put in order by hand in a real browser: by mouse, by finger and by keys."""

import contextlib
import time

import pytest

from tests.chromium import findings, needed
from tests.served import DESK, browser, press, served
from wearview import store as record
from wearview.ui import tray
from wearview.ui.tray import ElementName

pytestmark = needed()
NAME = ElementName("Job 7", "Forward")
NAMES = ["a.jpg", "b.jpg", "c.jpg", "d.jpg"]
LIST = (
    "[...document.querySelectorAll('*')].map(e => e.shadowRoot).filter(root => root?.querySelector('li'))[0]"
)


@pytest.fixture
def given(tmp_path):
    """A tray with four files that are no photos, so that nothing has to be graded; the record's URL."""
    url = f"sqlite:///{tmp_path}/record.sqlite"
    store = record.open_store(url)
    record.new_teardown(store, NAME.teardown)
    record.add_element(store, NAME.teardown, NAME.element)
    for name in NAMES:
        tray.add_photo(store, NAME, name, name.encode())
    return url


@contextlib.contextmanager
def dragging(folder, url, width):
    """The list on the page Photos."""
    with served(folder, url) as (address, _), browser(folder, "phone", "about:blank", width) as tab:
        tab.ask("Page.navigate", url=f"{address}/photos?teardown=Job+7&element=Forward")
        # Once all are seen nothing above the list comes or goes any more.
        tab.wait_for("(document.body.innerText.match(/not an image we can read/g) ?? []).length === 4")
        tab.wait_for("!document.querySelector('[data-testid=stProgress]')")
        tab.wait_until_drawn("4. d.jpg")
        # A click in a page's first moment is lost: Streamlit draws the toggle once more.
        on = "(box => box.checked || box.click())(document.querySelector('.st-key-drag input'))"
        tab.wait_for(f"({on}, {LIST}?.querySelectorAll('li').length === 4)", pause=1)
        yield tab


def rows(tab):
    return tab.value(f"[...{LIST}.querySelectorAll('li')].map(row => row.dataset.name)")


def handle(tab, n):
    """The middle of a row's handle on the screen."""
    tab.value(f"{LIST}.querySelectorAll('li')[{n}].scrollIntoView({{block: 'center'}})")
    box = f"{LIST}.querySelectorAll('button')[{n}].getBoundingClientRect()"
    return tab.value(f"(box => [box.x + box.width / 2, box.y + box.height / 2])({box})")


def wait_for_order(tab, url, names):
    """Wait until the photos lie in this order, in the tray and on the page."""
    store, deadline = record.open_store(url), time.monotonic() + 60
    while [photo.name for photo in tray.read_tray(store, NAME).photos] != names:
        assert time.monotonic() < deadline, tab.text()
        time.sleep(0.1)
    assert tray.read_tray(store, NAME).layout.order == tray.BY_HAND
    assert rows(tab) == names


def drag_second_to_the_end(tab, by):
    def pointer(kind, x, y):
        if by == "mouse":
            names = {"down": "mousePressed", "move": "mouseMoved", "up": "mouseReleased"}
            tab.ask("Input.dispatchMouseEvent", type=names[kind], x=x, y=y, button="left", clickCount=1)
        else:
            names = {"down": "touchStart", "move": "touchMove", "up": "touchEnd"}
            points = [] if kind == "up" else [{"x": x, "y": y}]
            tab.ask("Input.dispatchTouchEvent", type=names[kind], touchPoints=points)

    x, y = handle(tab, 1)
    to = tab.value(f"{LIST}.querySelectorAll('li')[3].getBoundingClientRect().bottom") - 5
    pointer("down", x, y)
    for share in (0.3, 0.7, 1):
        pointer("move", x, y + share * (to - y))
    tab.wait_for(f"{LIST}.querySelectorAll('li')[3].dataset.name === 'b.jpg'")
    pointer("up", x, to)


@pytest.mark.parametrize("by", ["mouse", "finger"])
def test_a_photo_is_dragged_to_its_place(tmp_path, given, by):
    with dragging(tmp_path, given, 360 if by == "finger" else 1440) as tab:
        drag_second_to_the_end(tab, by)
        wait_for_order(tab, given, ["a.jpg", "c.jpg", "d.jpg", "b.jpg"])


def test_a_photo_is_dragged_on_the_phone_that_took_it_and_said_to_show_the_same(tmp_path, given):
    with served(tmp_path, given, "--lan", "--address", DESK) as (address, _):
        with browser(tmp_path, "desk", f"{address}/photos?teardown=Job+7&element=Forward", 1440) as desk:
            press(desk, "Take them with a phone", "summary")
            ticket = desk.wait_for("document.querySelector('code')?.innerText")
        with browser(tmp_path, "phone", ticket, 360) as tab:
            tab.wait_for("(document.body.innerText.match(/not an image we can read/g) ?? []).length === 4")
            press(tab, "Put the photos in another order")
            tab.wait_for(f"{LIST}?.querySelectorAll('li').length === 4")
            assert findings(tab) == []
            drag_second_to_the_end(tab, "finger")
            wait_for_order(tab, given, ["a.jpg", "c.jpg", "d.jpg", "b.jpg"])
            tab.wait_for("document.body.innerText.includes('4. b.jpg\\n')")  # below the list, too
            same = "[...document.querySelectorAll('button')].filter(b => b.innerText === 'the same')"
            tab.value(f"{same}.at(-1).click()")
            tab.wait_for(
                "[...document.querySelectorAll('button[aria-pressed=true]')].map(b => b.value).join()"
                " === 'own,own,same'"
            )
            store, deadline = record.open_store(given), time.monotonic() + 60
            while [one.parts for one in tray.read_tray(store, NAME).shows] != [0, 1, 2, 2]:
                assert time.monotonic() < deadline, tab.text()
                time.sleep(0.1)


def test_a_photo_is_moved_by_keys_keeps_the_focus_and_tells_where_it_is(tmp_path, given):
    with dragging(tmp_path, given, 360) as tab:
        assert findings(tab) == []
        tab.value(f"{LIST}.querySelectorAll('button')[0].focus()")
        for key in ("ArrowDown", "ArrowDown"):
            for kind in ("keyDown", "keyUp"):
                tab.ask("Input.dispatchKeyEvent", type=kind, key=key, code=key)
        wait_for_order(tab, given, ["b.jpg", "c.jpg", "a.jpg", "d.jpg"])
        assert tab.value(f"{LIST}.activeElement.closest('li').dataset.name") == "a.jpg"
        assert tab.value(f"{LIST}.querySelector('.told').textContent") == "a.jpg: 3 of 4"
