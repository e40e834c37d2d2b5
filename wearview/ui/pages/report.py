"""The report as the customer will see it, its files, and reports that were handed over before."""

import tempfile
from collections.abc import Callable
from pathlib import Path

import streamlit as st

from wearview import store as record
from wearview.files import base_name
from wearview.record import Teardown
from wearview.report import write_report
from wearview.report.words import day
from wearview.ui import counter, here, show
from wearview.ui.head import on_teardown
from wearview.ui.words import plain, show_customer_html

FILES = {
    "report.html": ("Report for the customer", "text/html"),
    "report.pdf": ("Report to print", "application/pdf"),
    "photos.zip": ("Photos", "application/zip"),
    "parts.csv": ("Table", "text/csv"),
}
Wanted = tuple[bool, tuple[str, ...]]  # whether the photos themselves go along; sha256 of those left out


def _page(store: record.Store, teardown: Teardown) -> None:
    """Write the report, look at it, hand it over."""
    beside = (*teardown.inspections, *teardown.measured)
    if not beside and not any(element.gradings or element.verdicts for element in teardown.elements):
        st.info("There is nothing to report so far: no photo is graded and no verdict given.")
        return
    wanted = _wanted(teardown)
    show.html(show_customer_html(counter.address(teardown.name, wanted[1])))
    _report(store, teardown, wanted)
    _handed_over(store, teardown)
    if not teardown.closed and st.button("Close this teardown", width="stretch", key="close"):
        record.close_teardown(store, teardown.name)
        show.tell("Closed. It can be opened again on the pages Photos, Pack and Findings.")
        st.rerun()


def _wanted(teardown: Teardown) -> Wanted:
    """What goes into the report."""
    photos = {
        entry["sha256"]: f"{element.name}: {base_name(entry['file'])}"
        for element in teardown.elements
        if element.latest
        for entry in element.latest.document["photos"]
    }
    photos |= {
        p.sha256: f"{said.item}: {base_name(p.file)}" for said in teardown.inspections for p in said.photos
    }
    photos |= {p.sha256: f"{one.what}: {base_name(p.file)}" for one in teardown.measured for p in one.photos}
    with st.expander("Which photos go along"):
        left_out = st.multiselect(
            "Photos to leave out",
            photos,
            format_func=photos.__getitem__,
            placeholder="none: every photo goes along",
            key="left out",
        )
        st.caption("What a photo left out shows stays in the tables.")
        originals = st.checkbox("Put the photos without marks into photos.zip too", key="originals")
    return originals, tuple(left_out)


def _report(store: record.Store, teardown: Teardown, wanted: Wanted) -> None:
    """The report's files, written when asked for and whenever the record has grown since."""
    stamp = (*counter.stamp(store, teardown, here.which_record()), str(wanted))
    if st.button("Write the report", type="primary", width="stretch", key="write report"):
        with st.spinner("Writing the report"):
            _written(stamp, teardown, store, wanted, here.which_record())
        st.session_state["report of"] = stamp
    if st.session_state.get("report of") != stamp:
        return
    folder = Path(_written(stamp, teardown, store, wanted, here.which_record()).name)
    with st.container(horizontal=True, gap="small"):
        for name, (label, mime) in FILES.items():
            st.download_button(
                f"{label} ({name})",
                _reader(folder / name),
                file_name=name,
                mime=mime,
                on_click="ignore",
                width="stretch",
                key=name,
            )
    if st.button("It is handed over: keep it as it is", width="stretch", key="hand over"):
        record.hand_over(store, teardown.name, [folder / name for name in FILES])
        show.tell("Kept as it was handed over. A later change makes a new report.")
        st.rerun()
    st.subheader("As the customer sees it")
    st.iframe((folder / "report.html").read_text("utf-8"), height=900)


def _handed_over(store: record.Store, teardown: Teardown) -> None:
    """Reports that were handed over, as they were."""
    kept = record.handovers(store, teardown.name)
    if not kept:
        return
    st.subheader("Handed over before")
    for n, handover in reversed(list(enumerate(kept))):
        sha256 = handover.files["report.html"]
        st.download_button(
            plain(f"{day(handover.handed_at)}, report.html (sha256 {sha256[:12]})"),
            _keeper(store, sha256),
            file_name=f"report-{n + 1}.html",
            mime="text/html",
            on_click="ignore",
            width="stretch",
            key=f"handed over {n}",
        )


def _reader(path: Path) -> Callable[[], bytes]:
    return path.read_bytes


def _keeper(store: record.Store, sha256: str) -> Callable[[], bytes]:
    return lambda: record.photo_bytes(store, sha256)


@st.cache_resource(max_entries=4, show_spinner=False, on_release=tempfile.TemporaryDirectory.cleanup)
def _written(
    stamp: tuple[str, ...], _teardown: Teardown, _store: record.Store, _wanted: Wanted, _which: str
) -> "tempfile.TemporaryDirectory[str]":
    folder = tempfile.TemporaryDirectory(prefix="wearview-report-")
    originals, left_out = _wanted
    write_report(
        _teardown,
        lambda sha256: record.photo_bytes(_store, sha256),
        Path(folder.name),
        shop=counter.shop_of(_which),
        known=record.known_of(_store, _teardown),
        originals=originals,
        left_out=left_out,
    )
    return folder


on_teardown("Report", _page)
