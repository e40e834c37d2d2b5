"""Teardowns that are judged blind, and those that are closed, on the pages Photos and Pack."""

from tests.journeys.driven import (
    NAME,
    add_hot_pack,
    element_of,
    give,
    graded,
    lying,
    photo,
    press,
    run,
    shown,
    turn_to,
)
from tests.journeys.test_app import LAST, PACK_PAGE, PLATES, REPORT, app, pack_page, photos_page, url
from wearview import store as record
from wearview.ui import tray

__all__ = ["app", "pack_page", "photos_page", "url"]


def test_a_blind_teardown_tells_nothing_until_the_verdict_is_in(app, url):
    ids = add_hot_pack(url)
    record.change_teardown(record.open_store(url), "Job 7", blind=True)
    press(run(app), "open Job 7")
    turn_to(app, PACK_PAGE)
    row = [b.label for b in app.button if b.key.startswith("plate-")]
    assert all("decide first" in label for label in row)
    assert "Chance of each level" not in shown(app)
    assert "Hidden until the verdict is in" in shown(app)
    assert "cannot tell" not in shown(app).lower()  # what is hidden may well be known
    press(app, f"plate-{ids[2]}")
    app.menu_button(key="verdict replace").click("heat")
    run(app)
    row = [b.label for b in app.button if b.key.startswith("plate-")]
    assert ["decide first" in label for label in row] == [True, True, False]
    assert "Chance of each level" in shown(app)


def test_a_photo_that_is_judged_blind_is_seen_without_what_was_found(photos_page, url):
    record.change_teardown(record.open_store(url), "Job 7", blind=True)
    graded(give(photos_page, photo(PLATES)), url)
    [given] = tray.read_tray(record.open_store(url), NAME).photos
    assert f'src="/picture/own/photo/{given.sha256}" alt="{PLATES}"' in shown(run(photos_page))


def test_a_closed_teardown_takes_no_photo_until_it_is_opened_again(photos_page, url):
    record.close_teardown(record.open_store(url), "Job 7")
    assert not run(photos_page).file_uploader
    assert "This teardown is closed" in shown(photos_page)
    press(photos_page, "reopen")
    give(photos_page, photo(LAST))
    assert lying(url) == [LAST]


def test_a_closed_teardown_takes_no_verdict_until_it_is_opened_again(pack_page, url):
    press(turn_to(pack_page, REPORT), "close")
    turn_to(pack_page, PACK_PAGE)
    assert not pack_page.menu_button
    press(pack_page, "reopen")
    pack_page.menu_button(key="verdict replace").click("age")
    run(pack_page)
    assert [v.decision for v in element_of(url).verdicts] == ["replace"]
