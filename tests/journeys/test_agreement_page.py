"""The page Agreement: figures and drawings over the whole record, and what to look at together."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from tests import documents
from tests.chromium import findings, needed
from tests.journeys.driven import add_hot_pack, run, shown, turn_to
from tests.journeys.test_app import app, url
from tests.journeys.test_app_in_browser import browser, served
from tests.stages.test_followed import LINING
from wearview import store as record
from wearview.agreement import Counted, Rated, agree, sums_of
from wearview.record import LinedPlate, follow
from wearview.ui.plots import heat_svg, kappa_drawing, levels_svg

__all__ = ["app", "url"]
AGREEMENT = "wearview/ui/pages/agreement.py"
PACKS, PLATES = 30, 5


def judge_many(url):
    """Packs of which a technician says his own heat level for every plate, the grades hidden."""
    store = record.open_store(url)
    record.new_teardown(store, "Job 8", blind=True)
    for pack in range(PACKS):
        photo = documents.jpeg(pack + 40)
        parts = [documents.part(photo, n, n, (n + pack) % 5, left=110 * n) for n in range(1, PLATES + 1)]
        entry = documents.photo_entry(photo, f"{pack}.jpg", parts)
        name = f"pack {pack}"
        document = documents.document([entry]) | {"reference": LINING}
        record.add_grading(store, "Job 8", name, document, [record.GradedPhoto(photo)])
        for n in range(1, PLATES + 1):
            heat = min(4, (n + pack) % 5 + (n == 2))
            by = "Ines" if pack % 2 else "Olu"
            record.add_verdict(store, "Job 8", name, str(n), "replace", heat=heat, by=by)


def test_without_heat_levels_the_page_says_how_to_give_them(app, url):
    add_hot_pack(url)
    turn_to(run(app), AGREEMENT)
    assert "Nothing to compare so far" in app.info[0].value


def test_it_shows_blind_apart_and_leads_to_the_plates_that_differ_most(app, url):
    judge_many(url)
    turn_to(run(app), AGREEMENT)
    assert "blind" in shown(app)
    assert "Ines" in shown(app)
    assert "One lining over all units" in [title.value for title in app.subheader]
    app.selectbox(key="followed lining").select("tan-paper")
    run(app)
    assert "from 50 plates on" in shown(app)  # of each place from the reaction end there are 30
    far = [button for button in app.button if button.key.startswith("apart ")]
    assert len(far) == 12
    far[0].click()
    run(app)
    assert app.session_state["teardown"] == "Job 8"
    assert app.session_state["plate"] in far[0].key


def rated(n, by="Ines", at="2024-05-03"):
    return [
        Rated(f"{by}{at}{i}", "1", f"{by}{at}{i // 5}", i % 5, i * 7 % 5, "replace", by, at) for i in range(n)
    ]


def drawn_of(parts):
    drawn = kappa_drawing(Counted(sums_of(parts)))
    return drawn and drawn.svg


def test_kappa_is_drawn_for_each_technician_from_fifty_parts_on():
    drawn = ET.fromstring(
        drawn_of([*rated(60), *rated(60, "Olu"), *rated(60, at="2024-08-01"), *rated(9, "A")])
    )
    names = [text.text for text in drawn.iterfind(".//{*}text")]
    assert {"all", "Ines", "Olu", "2024-Q2", "2024-Q3"} <= set(names)
    assert "A" not in names
    spots = [len(group) for group in drawn.iterfind(".//{*}g[@class='spots']")]
    assert spots == [2, 2, 1]
    # A phone shows 340 units of a longer drawing, its left: the names stand there, above what they name.
    left, top, *_ = map(float, drawn.get("viewBox").split())
    for text in drawn.iterfind(".//{*}text"):
        if text.text in ("all", "Ines", "Olu"):
            assert left < float(text.get("x")) < 250
            assert top < float(text.get("y")) < 0
    assert drawn_of(rated(49)) is None


def test_the_area_of_a_disc_is_the_number_of_parts():
    found = agree([*rated(60), *rated(30, "Olu")])
    drawn = ET.fromstring(levels_svg(found))
    area = sorted(float(disc.get("r")) ** 2 for disc in drawn.iterfind(".//{*}circle"))
    counts = np.sort(found.counts[found.counts > 0])
    assert area == pytest.approx(counts * area[-1] / counts[-1], rel=0.02)  # radii are rounded to 0.1


def test_a_bar_stands_for_each_place_with_fifty_plates():
    plates = [LinedPlate("u", str(n), n % 3 + 1, int(n % 2 == 0), None) for n in range(3 * 50 - 1)]
    drawn = ET.fromstring(heat_svg(follow("tan-paper", plates)))
    texts = [text.text for text in drawn.iterfind(".//{*}text")]
    assert {"nearest", "2nd", "25 of 50"} <= set(texts)
    assert "3rd" not in texts
    low, high = (float(bar.get("height")) for bar in drawn.iterfind(".//{*}rect"))
    assert low == high == 110  # half of the height drawn for all
    assert heat_svg(follow("tan-paper", plates[:60])) is None


@needed()
@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1440, "light")])
def test_a_filled_page_has_no_serious_fault_of_access(tmp_path, width, scheme):
    address_of = f"sqlite:///{tmp_path}/record.sqlite"
    judge_many(address_of)
    with served(tmp_path, address_of) as (address, _), browser(tmp_path, "b", "about:blank", width) as tab:
        tab.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
        tab.ask("Page.navigate", url=f"{address}/agreement")
        tab.wait_until_drawn("Decisions beside grades")
        tab.wait_for("!document.querySelector('[data-testid=stSkeleton]')")
        assert findings(tab) == []
        assert tab.value("document.documentElement.scrollWidth") <= width
        assert tab.value(SMALL_BUTTONS) == []
        assert tab.value("[...document.images].every(i => i.alt && i.naturalWidth)")
        # Its 14 units of the drawing's 350 across are read on a phone too, and all of it is in view there.
        assert tab.value("document.querySelector('.wv-drawing img').getBoundingClientRect().width") >= 300
        assert tab.value("(f => f.scrollWidth <= f.clientWidth)(document.querySelector('.wv-drawing'))")


# What a greasy finger taps in the page itself, not in Streamlit's own bar: 44 px (WCAG 2.2, 2.5.5).
SMALL_BUTTONS = (
    "[...document.querySelectorAll('[data-testid=stMain] button, [data-testid=stMain] summary')]"
    ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 43.5)"
    ".map(e => e.outerHTML.slice(0, 120))"
)
