"""The page Shop: what stands on reports, blind teardowns, clean linings, the passcode."""

import pytest

from tests.journeys.driven import photo, press, run, shown, turn_to, widget
from tests.journeys.test_app import CLEAN, app, url
from wearview import store as record
from wearview.library import out_of_use, read_library
from wearview.report import load_shop
from wearview.ui import gate
from wearview.ui.words import plain

__all__ = ["app", "url"]
SHOP = "wearview/ui/pages/shop.py"


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """A shop's own folder, empty."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path / "data" / "wearview" / "shop"


def test_the_shop_says_once_what_stands_on_its_reports(shop, app):
    turn_to(app, SHOP)
    app.text_input(key="shop name").set_value("Hollow Lane Gears")
    app.text_area(key="shop lines").set_value("1 Hollow Lane\n\n  555 0100 ")
    app.selectbox(key="paper").set_value("us-letter")
    press(app, "keep shop")
    kept = load_shop(shop)
    assert (kept.name, kept.lines, kept.paper) == (
        "Hollow Lane Gears",
        ("1 Hollow Lane", "555 0100"),
        "us-letter",
    )
    app.text_area(key="shop lines").set_value("\n".join("1234567"))
    press(app, "keep shop")
    assert "has 7 lines" in app.error[0].value
    assert load_shop(shop) == kept


def test_the_shop_settles_whether_new_teardowns_are_judged_blind(shop, app, url):
    turn_to(app, SHOP)
    app.toggle(key="shop blind False").set_value(True)
    run(app)
    assert record.shop_is_blind(record.open_store(url))
    assert app.toggle(key="shop blind True").value


def test_a_clean_lining_is_measured_kept_and_taken_out_of_use(shop, app):
    turn_to(app, SHOP)
    press(app, "keep lining")
    assert app.error[0].value.startswith(plain("an empty name: is no name for a lining."))
    widget(app, "text_input", "lining").set_value("tan-paper")
    widget(app, "file_uploader", "clean plates").set_value([photo(CLEAN)])
    press(run(app), "keep lining")
    [kept] = read_library().values()
    assert (kept.name, kept.version, kept.plates) == ("tan-paper", 1, 1)
    assert "tan-paper" in shown(app)
    widget(app, "selectbox", "gone").set_value("tan-paper")
    press(run(app), "remove lining")
    assert read_library() == {}
    assert "tan-paper is out of use" in shown(app).replace("\\", "")
    widget(app, "selectbox", "back").set_value("tan-paper")
    press(run(app), "put back")
    [again] = read_library().values()
    assert (again.version, again.photos, again.pooled) == (3, kept.photos, kept.pooled)
    assert out_of_use() == []


def test_a_new_passcode_is_shown_once_and_ends_what_the_old_one_opened(shop, app, monkeypatch):
    monkeypatch.setattr(gate.the_gate(), "address", "http://192.168.0.2:8501")
    inside = gate.the_gate().enter(gate.the_gate().new_passcode(), "192.168.0.7")
    press(turn_to(app, SHOP), "passcode")
    code = app.success[0].value.partition(": ")[2].partition(". ")[0]
    assert not gate.the_gate().admits(inside)
    assert gate.the_gate().admits(gate.the_gate().enter(code, "192.168.0.7"))
    assert code not in shown(run(app))
