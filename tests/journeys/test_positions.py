"""Positions of parts while photos come, go and change places: right before the pack is graded."""

import re

import pytest

from tests.chromium import needed
from tests.journeys.driven import DEMO, NAME
from tests.served import browser, served
from wearview import store as record
from wearview.ui import tray
from wearview.ui.bench import Bench
from wearview.ui.told import told

PHOTOS = ("direct-pack-2.jpg", "direct-pack-3.jpg")  # of four plates and of one


@pytest.fixture
def bench(tmp_path):
    at = Bench(record.open_store(f"sqlite:///{tmp_path}/record.sqlite"))
    record.new_teardown(at.store, NAME.teardown)
    record.add_element(at.store, NAME.teardown, NAME.element)
    for photo in PHOTOS:
        tray.add_photo(at.store, NAME, photo, (DEMO / photo).read_bytes())
    tray.set_reference(at.store, NAME, "clean.jpg", (DEMO / "reference-tan.jpg").read_bytes())
    yield at
    at.close()


def look(bench):
    """Have a bench look at the tray as another one does: photo by photo, and never at the pack."""
    bench.look(NAME, tray.read_tray(bench.store, NAME))
    bench.wait(NAME)


def said(bench):
    """The positions on each photo's card, and the overlays on which they are drawn."""
    lying = tray.read_tray(bench.store, NAME)
    lines = [told(bench, lying, photo, blind=True).shown for photo in lying.photos]
    positions = [[int(re.match(r"Position (\d+), ", line)[1]) for line in of_one] for of_one in lines]
    return positions, [bench.seen(lying, photo).overlay for photo in lying.photos]


def gradings(bench):
    [element] = record.get_teardown(bench.store, NAME.teardown).elements
    return len(element.gradings)


@pytest.mark.parametrize("stored", [False, True])
def test_what_remains_has_its_new_position_on_card_and_picture_before_the_pack_is_graded(bench, stored):
    if stored:
        bench.wake(NAME, now=True)
        bench.wait(NAME)
    look(bench)
    positions, overlays = said(bench)
    assert positions == [[1, 2, 3, 4], [5]]
    tray.leave_out(bench.store, NAME, tray.read_tray(bench.store, NAME).photos[0].sha256)
    look(bench)
    positions, [overlay] = said(bench)
    assert positions == [[1]]
    assert bench.overlay(overlay)
    assert overlay not in overlays
    if not stored:
        with pytest.raises(KeyError):
            bench.overlay(overlays[1])
    assert gradings(bench) == stored


def test_photos_laid_the_other_way_round_change_positions_and_back(bench):
    lying = tray.read_tray(bench.store, NAME)
    for first, positions in (("reaction", [[2, 3, 4, 5], [1]]), ("apply", [[1, 2, 3, 4], [5]])):
        tray.lay_otherwise(bench.store, NAME, tray.Layout(first=first, order=lying.layout.order))
        look(bench)
        assert said(bench)[0] == positions


def test_positions_that_a_person_stated_stay_until_the_photos_change(bench):
    tray.lay_out(bench.store, NAME, tray.Layout(positions=(2, 4, 6, 8, 9)))
    bench.wake(NAME, now=True)
    bench.wait(NAME)
    look(bench)
    assert said(bench)[0] == [[2, 4, 6, 8], [9]]
    tray.leave_out(bench.store, NAME, tray.read_tray(bench.store, NAME).photos[0].sha256)
    look(bench)
    assert said(bench)[0] == [[1]]
    assert gradings(bench) == 1


@needed()
def test_the_page_counts_anew_as_soon_as_a_photo_is_left_out(bench, tmp_path):
    with (
        served(tmp_path, f"sqlite:///{tmp_path}/record.sqlite") as (address, _),
        browser(tmp_path, "phone", "about:blank", 390) as tab,
    ):
        tab.ask("Page.navigate", url=f"{address}/photos?teardown=Job+7&element=Forward")
        tab.wait_for("document.body.innerText.includes('Position 5, ')", 120)
        tab.wait_for(
            "(found => { found?.click(); return !!found; })"
            "(document.querySelector('[class*=st-key-out-] button'))"
        )
        tab.wait_for("!document.body.innerText.includes('direct-pack-2.jpg')")
        tab.wait_for("document.body.innerText.includes('Position 1, ')")
        assert "Position 5" not in tab.text()
