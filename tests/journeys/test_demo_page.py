"""The demo on the page, in a record of its own."""

from tests.journeys.driven import press, run, shown, turn_to
from tests.journeys.test_app import PACK_PAGE, PHOTOS, app, url
from wearview import store as record
from wearview.ui.demo import demo_url

__all__ = ["app", "url"]


def test_the_demo_is_looked_at_in_a_record_of_its_own(app, url):
    press(app, "demo")
    turn_to(app, PACK_PAGE)
    assert "Demo of an invented shop" in shown(app)
    assert record.list_teardowns(record.open_store(url)) == []
    press(app, "leave demo")
    assert "Demo of an invented shop" not in shown(turn_to(app, PHOTOS))


def test_an_address_of_the_demo_shows_it_after_the_program_was_started_anew(app):
    demo_url.cache_clear()  # the record goes with the program
    app.query_params.update(record="demo", teardown="job-2317", element="direct clutch")
    turn_to(run(app), PACK_PAGE)
    assert "No teardown is open" not in shown(app)
    assert "job-2317" in shown(app)
