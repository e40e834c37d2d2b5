"""The report on the counter: what the customer reads, and that nothing but a held button leads back."""

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware

from tests.chromium import findings, needed
from tests.journeys.driven import add_hot_pack
from tests.journeys.test_network import HERE, call
from tests.served import browser, served
from wearview import store as record
from wearview.ui import bench, counter, gate, guard, here

LOCAL = "localhost:8501"
READ = "/counter/own/report?teardown=Job+7"


@pytest.fixture
def site(monkeypatch, tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    monkeypatch.setenv("WEARVIEW_STORE", url)
    add_hot_pack(url)
    yield Starlette(routes=counter.ROUTES, middleware=[Middleware(guard.Guard, gate=gate.the_gate())])
    bench.bench_of(url).close()


def read(site, path):
    status, headers, body = call(site, "GET", path, client=HERE, host=LOCAL)
    return status, headers, body.decode("utf-8")


def test_the_customer_reads_the_report_as_the_record_is_now(site, tmp_path):
    assert "no verdict given" in read(site, READ)[2]
    record.add_verdict(
        record.open_store(f"sqlite:///{tmp_path}/record.sqlite"), "Job 7", "Forward", "1", "reuse"
    )
    status, _, html = read(site, READ)
    assert status == 200
    assert html.count("no verdict given") == 2
    assert "font-size: 125%" in html


def test_photos_left_out_are_not_shown_on_the_counter(site):
    every = read(site, READ)[2]
    [element] = record.get_teardown(bench.bench_of(here.url_of(here.OWN)).store, "Job 7").elements
    sha256 = element.latest.document["photos"][0]["sha256"]
    assert read(site, f"{READ}&out={sha256}")[2].count("<img") == every.count("<img") - 1


def test_the_report_runs_no_script_and_stands_in_no_frame_but_ours(site):
    for path, framed in ((READ, "'self'"), ("/counter/own?teardown=Job+7", "'none'")):
        _, headers, _ = read(site, path)
        rules = headers["content-security-policy"]
        assert rules.startswith("default-src 'none'")
        assert f"frame-ancestors {framed}" in rules
    assert "script-src" not in read(site, READ)[1]["content-security-policy"]


def test_a_teardown_that_is_not_there_is_said_in_words(site):
    status, _, text = read(site, "/counter/own/report?teardown=none")
    assert status == 404
    assert "none" in text


HELD = "document.querySelector('#back').classList.contains('held')"
PRESS = "document.querySelector('#back').dispatchEvent(new PointerEvent('{}', {{bubbles: true}}))"
READS = "document.querySelector('iframe')?.contentDocument?.body?.innerText.includes('Teardown report')"


@needed()
@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1920, "light")])
def test_only_a_button_that_is_held_leads_back_to_the_shops_pages(tmp_path, width, scheme):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    add_hot_pack(url)
    with served(tmp_path, url) as (address, _), browser(tmp_path, "desk", "about:blank", width) as tab:
        tab.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
        tab.ask("Page.navigate", url=f"{address}/report?teardown=Job+7")
        tab.wait_until_drawn("Write the report")
        tab.value("document.querySelector('.wv-button').click()")
        tab.wait_for(READS)
        assert findings(tab) == []
        assert tab.value("document.documentElement.scrollWidth") <= width
        assert (
            tab.value("document.querySelector('iframe').contentDocument.documentElement.scrollWidth") <= width
        )
        tab.value("addEventListener('popstate', () => { window.went = true; })")
        tab.value("document.dispatchEvent(new PointerEvent('pointerup'))")  # the customer touches the page
        tab.value("history.back()")
        tab.wait_for("window.went")
        tab.value(PRESS.format("pointerdown"))
        assert tab.value(HELD)
        tab.value(PRESS.format("pointerup"))
        assert not tab.value(HELD)
        assert tab.value("location.pathname") == "/counter/own"
        tab.value(PRESS.format("pointerdown"))
        tab.wait_until_drawn("Write the report")
