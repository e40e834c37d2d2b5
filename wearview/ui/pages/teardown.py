"""A teardown: what was graded by position, the technician's verdicts, the customer's report."""

import tempfile
from collections.abc import Callable
from pathlib import Path

import streamlit as st

from wearview import store as record
from wearview.record import PACK, Element, Teardown, TeardownLine, part_lines
from wearview.report import write_report
from wearview.report.view import day
from wearview.report.words import DECISIONS as DECISION_WORDS
from wearview.report.words import REASONS as REASON_WORDS
from wearview.terms import LINING_LEVELS, REASONS, STEEL_LEVELS, VERDICTS
from wearview.ui import show
from wearview.ui.words import job_html, plain, said_html

LISTED = 20
REPORT_FILES = {
    "report.html": ("Report for the customer", "text/html"),
    "photos.zip": ("Photos", "application/zip"),
    "parts.csv": ("Table", "text/csv"),
}


def page() -> None:
    """Choose a teardown, then look, decide and hand over."""
    st.title("Teardown")
    with show.in_words():
        store = show.open_record()
        name = show.choose_teardown(store, placeholder="choose one")
        if name is None:
            _list(record.list_teardowns(store))
            return
        teardown = record.get_teardown(store, name)
        st.html(job_html(teardown))
        element = _choose_element(teardown) if teardown.elements else None
        found, decide, report = st.tabs(["What was found", "Verdict", "Report"])
        with found:
            _element(store, element)
        with decide:
            _decide(store, teardown, element)
        with report:
            _report(store, teardown)


def _list(teardowns: list[TeardownLine]) -> None:
    """The newest teardowns, one button each; older ones stand in the field above."""
    if not teardowns:
        st.info("No teardown so far. Open one above, then grade its photos on the page Grade.")
    for line in teardowns[:LISTED]:
        facts = [line.unit, line.serial, line.customer, day(line.opened_at)]
        st.button(
            plain(", ".join([line.name, *(fact for fact in facts if fact)])),
            width="stretch",
            on_click=st.session_state.update,
            kwargs={"teardown": line.name, "element": None},
            key=f"open {line.name}",
        )


def _choose_element(teardown: Teardown) -> Element:
    elements = {element.name: element for element in teardown.elements}
    if st.session_state.get("element") not in elements:
        st.session_state["element"] = teardown.elements[0].name
    st.pills("Clutch or brake", list(elements), key="element", format_func=plain, required=True)
    return elements[st.session_state["element"]]


def _element(store: record.Store, element: Element | None) -> None:
    """What was graded and said of one element."""
    if element is None:
        st.info("Nothing is graded here so far: grade the photos of a clutch or brake on the page Grade.")
        return
    st.html(said_html(element))
    if element.latest is None:
        st.info("No photo of it is graded so far.")
        return
    overlays = element.latest.overlays

    def overlay(sha256: str) -> bytes | None:
        return record.photo_bytes(store, overlays[sha256]) if sha256 in overlays else None

    show.graded_element(element.latest.document, part_lines(element), overlay, with_verdicts=True)


def _decide(store: record.Store, teardown: Teardown, element: Element | None) -> None:
    """The technician's verdict on the pack, on plates, or on a part by its name."""
    if told := st.session_state.pop("verdict told", None):
        st.success(plain(told))
    lines = part_lines(element) if element else []
    labels = list(dict.fromkeys(line.label for line in lines))
    show.row(lines)

    def fresh(field: str) -> str:  # what is half filled in for one element is not meant for another
        return show.fresh(f"{field} {element.name}" if element else field)

    with st.form("verdict"):
        place = None
        if element is None:
            place = st.text_input("Where it belongs: a clutch, brake or assembly", key=fresh("place"))
        targets = (
            st.pills(
                "On the whole pack, or on positions",
                [PACK, *labels],
                selection_mode="multi",
                format_func=lambda target: "whole pack" if target == PACK else target,
                key=fresh("targets"),
            )
            if element is not None
            else []
        )
        named = st.text_input("Or on a part outside the pack, by name (a drum, a pump)", key=fresh("named"))
        decision = st.pills(
            "Decision", VERDICTS, format_func=DECISION_WORDS.__getitem__, key=fresh("decision")
        )
        reason = st.pills("Reason", REASONS, format_func=REASON_WORDS.__getitem__, key=fresh("reason"))
        heat = st.pills(
            "Your own heat level, if you give one",
            range(len(LINING_LEVELS)),
            format_func=_heat,
            key=fresh("heat"),
        )
        by = st.text_input("By", st.session_state.get("by", ""), key=fresh("by"))
        note = st.text_area("Note, in your own words", key=fresh("note"))
        pressed = st.form_submit_button("Store verdict", type="primary", width="stretch", key="store verdict")
    if not pressed:
        return
    on = [*targets, *([named] if named.strip() else [])]
    name = element.name if element else (place or "")
    if not on:
        st.error("Choose what the verdict is on: the whole pack, positions, or a part by its name.")
    elif decision is None:
        st.error("Choose a decision.")
    else:
        with show.in_words():
            for target in on:
                record.add_verdict(
                    store, teardown.name, name, target, decision, heat=heat, reason=reason, by=by, note=note
                )
            st.session_state["by"] = by
            st.session_state["verdict told"] = f"Stored: {', '.join(on)}: {DECISION_WORDS[decision]}."
            show.start_afresh()
            st.rerun()


def _heat(level: int) -> str:
    """A level in the words of both tables."""
    return f"{level} {LINING_LEVELS[level]} / {STEEL_LEVELS[level]}"


def _report(store: record.Store, teardown: Teardown) -> None:
    """The report's files, written when asked for and whenever the record has grown since."""
    stamp = _stamp(store, teardown)
    if st.button("Write the report", width="stretch", key="write report"):
        with st.spinner("Writing the report"):
            _written(stamp, teardown, store)
        st.session_state["report of"] = stamp
    if st.session_state.get("report of") != stamp:
        return
    folder = Path(_written(stamp, teardown, store).name)
    for name, (label, mime) in REPORT_FILES.items():
        st.download_button(
            f"{label} ({name})",
            _reader(folder / name),
            file_name=name,
            mime=mime,
            on_click="ignore",
            width="stretch",
            key=name,
        )


def _reader(path: Path) -> Callable[[], bytes]:
    return path.read_bytes


def _stamp(store: record.Store, teardown: Teardown) -> tuple[str, ...]:
    """What changes when the record of a teardown grows: nothing in it is ever altered."""
    gradings = (g.document_sha256 for element in teardown.elements for g in element.gradings)
    verdicts = (str(len(element.verdicts)) for element in teardown.elements)
    return (store.label, teardown.name, *gradings, *verdicts)


@st.cache_resource(max_entries=4, show_spinner=False, on_release=tempfile.TemporaryDirectory.cleanup)
def _written(
    stamp: tuple[str, ...], _teardown: Teardown, _store: record.Store
) -> "tempfile.TemporaryDirectory[str]":
    folder = tempfile.TemporaryDirectory(prefix="wearview-report-")
    write_report(_teardown, lambda sha256: record.photo_bytes(_store, sha256), Path(folder.name))
    return folder


page()
