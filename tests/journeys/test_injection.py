"""What is typed stays text: in the report, its PDF and its table, on the page, in a search."""

import csv
import json
import re

import pypdfium2
import pytest

from tests import documents
from tests.chromium import needed, open_tab
from tests.journeys.test_app_in_browser import served
from wearview import store as record
from wearview.errors import CallError
from wearview.record import Element, Grading, Teardown, Verdict
from wearview.report import write_report

WHEN = "2024-05-03T10:00:00+00:00"
# Scripts by tag, attribute, address and style; markup of page and typesetter; formulas; SQL. Shapes
# as in OWASP's cheat sheets on script, formula and SQL injection (from memory).
HOSTILE = (
    "<script>window.ran=1</script>",
    "<img src=x onerror=window.ran=1>",
    "\"><svg onload='window.ran=1'>",
    "'-window.ran=1-'",
    "</title></style></textarea><script>window.ran=1</script>",
    "<a href=javascript:window.ran=1>x</a>",
    "<iframe srcdoc='<script>parent.ran=1</script>'>",
    "<base href=//elsewhere.example>",
    "<meta http-equiv=refresh content='0;url=//elsewhere.example'>",
    "<style>*{background:url(//elsewhere.example/x)}</style>",
    "[x](javascript:window.ran=1)",
    "![x](https://elsewhere.example/x.png)",
    "{{ 7 * 7 }}{% raw %}",
    "#eval(\"1\")#image(\"/etc/passwd\")",
    "$ x $ *y* @z <w>",
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "=HYPERLINK(\"//elsewhere.example\")",
    "'; DROP TABLE teardown; --",
    "\" OR \"\"=\"",
    "%' UNION SELECT sql FROM sqlite_master --",
    "100%_\\",
)  # fmt: skip


def hostile_teardown(words):
    """A teardown with these words in every field that takes text."""
    document, photos = documents.hot_pack()
    document["photos"][0]["file"] = f"{words}.jpg"
    document["pack"]["explanation"] = document["pack"]["advice"] = [words]
    for entry in document["photos"]:
        for part in entry["parts"]:
            part["grade"]["because"] = [words]
    given = tuple(
        Verdict(target, part, "replace", 1, "wish", words, words, WHEN)
        for target, part in (("1", document["pack"]["order"][0]), ("pack", None), (words, None))
    )
    element = Element(words, words, (Grading(document, "f" * 64, WHEN, {}),), given)
    return Teardown(words, words, words, words, words, WHEN, (element,)), photos


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile")
    teardown, photos = hostile_teardown("\n".join(HOSTILE))
    write_report(teardown, photos.__getitem__, folder)
    return folder


def letters(text):
    return re.sub(r"[\s\u200b]", "", text)


@needed()
def test_no_text_becomes_an_element_an_attribute_or_an_address_of_the_report(written, tmp_path):
    with open_tab(tmp_path, (written / "report.html").as_uri(), width=1100) as tab:
        tab.wait_for("document.readyState === 'complete'")
        assert_nothing_ran(tab)
        shown = letters(tab.value("document.body.textContent"))
    for words in HOSTILE:
        assert letters(words) in shown, words


def assert_nothing_ran(tab):
    found = json.loads(
        tab.value(
            """JSON.stringify({
            ran: window.ran ?? null,
            handlers: [...document.querySelectorAll('*')].flatMap(e => [...e.attributes])
                .filter(a => a.name.startsWith('on')).map(a => a.value),
            elsewhere: [...document.querySelectorAll('*')].flatMap(e => [...e.attributes])
                .filter(a => ['src', 'href', 'srcdoc', 'content', 'action'].includes(a.name))
                .map(a => a.value).filter(v => /^(javascript:|(https?:)?..elsewhere|0;|x$|<)/.test(v)),
            ours: [...document.querySelectorAll('script')].map(e => e.textContent)
                .filter(text => text.includes('ran=1')),
            })"""
        )
    )
    assert found == {"ran": None, "handlers": [], "elsewhere": [], "ours": []}


def test_no_text_becomes_markup_or_an_action_of_the_pdf(written):
    data = (written / "report.pdf").read_bytes()
    for action in (b"/JavaScript", b"/Launch", b"/SubmitForm", b"/EmbeddedFile"):
        assert action not in data
    shown = letters("".join(p.get_textpage().get_text_range() for p in pypdfium2.PdfDocument(data)))
    for words in HOSTILE:
        assert letters(words) in shown, words


@pytest.mark.parametrize("words", HOSTILE)
def test_no_cell_of_the_table_is_a_formula(words, tmp_path):
    teardown, photos = hostile_teardown(words)
    write_report(teardown, photos.__getitem__, tmp_path)
    with open(tmp_path / "parts.csv", encoding="utf-8-sig", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert any(words in cell for cell in cells)
    for cell in cells:
        assert not cell.lstrip().startswith(("=", "+", "@", "\t", "\r")), cell
        assert not cell.startswith("-") or float(cell) <= 0


@pytest.fixture
def searched(store):
    """A record with two teardowns, one of them named in hostile words throughout."""
    record.new_teardown(store, "Job 7", unit="four-speed", serial="0815", customer_ref="van")
    record.new_teardown(store, HOSTILE[-4], unit=HOSTILE[-3], serial="X'--", customer_ref=HOSTILE[-1])
    return store


@pytest.mark.parametrize("field", ["text", "unit", "serial", "customer_ref", "opened"])
def test_sql_in_a_search_is_a_word_that_is_searched_for(searched, field):
    for words in (*HOSTILE, "%", "_", "\\", "'", '"', ";"):
        if field == "serial" and not any(map(str.isalnum, words)):
            continue  # only letters and digits count there, so nothing is asked
        try:
            found = [line.name for line in record.find_teardowns(searched, **{field: words})]
        except CallError:
            assert field == "opened"  # no date
            continue
        assert "Job 7" not in found, words
    assert len(record.list_teardowns(searched)) == 2
    assert record.check_record(searched).findings == ()


@needed()
def test_nothing_typed_runs_on_the_page(tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    store = record.open_store(url)
    document, photos = documents.hot_pack()
    words = " ".join(HOSTILE)[:190]
    for number, name in enumerate((*HOSTILE, "Job 7")):
        record.new_teardown(store, name, unit=words, serial=f"S{number}", customer_ref=words)
    files = [record.GradedPhoto(data) for data in photos.values()]
    record.add_grading(store, "Job 7", HOSTILE[0], document, files)
    record.add_verdict(store, "Job 7", HOSTILE[0], "1", "replace", by=HOSTILE[1], note=" ".join(HOSTILE))
    (tmp_path / "tab").mkdir()
    with served(tmp_path, url) as (address, _), open_tab(tmp_path / "tab", address, width=1100) as tab:
        tab.wait_until_drawn("Job 7")
        assert_nothing_ran(tab)
        tab.ask("Page.navigate", url=f"{address}/pack?teardown=Job+7")
        tab.wait_until_drawn("What the pack shows")
        assert_nothing_ran(tab)
        assert HOSTILE[0] in tab.text()
