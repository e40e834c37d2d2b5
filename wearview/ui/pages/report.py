"""The report as the customer will see it, and its files."""

import functools
import tempfile
from collections.abc import Callable
from pathlib import Path

import streamlit as st

from wearview import store as record
from wearview.record import Teardown
from wearview.report import load_shop, shop_folder, write_report
from wearview.ui import here, show
from wearview.ui.words import job_html

FILES = {
    "report.html": ("Report for the customer", "text/html"),
    "report.pdf": ("Report to print", "application/pdf"),
    "photos.zip": ("Photos", "application/zip"),
    "parts.csv": ("Table", "text/csv"),
}


def page() -> None:
    """Write the report, look at it, hand it over."""
    st.title("Report")
    with show.in_words():
        store = here.open_record()
        teardown = here.teardown_here(store)
        if teardown is None:
            return
        show.html(job_html(teardown))
        if not any(element.gradings or element.verdicts for element in teardown.elements):
            st.info("There is nothing to report so far: no photo is graded and no verdict given.")
            return
        _report(store, teardown)


def _report(store: record.Store, teardown: Teardown) -> None:
    """The report's files, written when asked for and whenever the record has grown since."""
    stamp = _stamp(store, teardown)
    if st.button("Write the report", type="primary", width="stretch", key="write report"):
        with st.spinner("Writing the report"):
            _written(stamp, teardown, store)
        st.session_state["report of"] = stamp
    if st.session_state.get("report of") != stamp:
        return
    folder = Path(_written(stamp, teardown, store).name)
    with st.container(horizontal=True, gap="small"):
        for name, (label, mime) in FILES.items():
            if (folder / name).is_file():
                st.download_button(
                    f"{label} ({name})",
                    _reader(folder / name),
                    file_name=name,
                    mime=mime,
                    on_click="ignore",
                    width="stretch",
                    key=name,
                )
    st.subheader("As the customer sees it")
    st.iframe((folder / "report.html").read_text("utf-8"), height=900)


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
    photo_bytes = functools.partial(record.photo_bytes, _store)
    write_report(_teardown, photo_bytes, Path(folder.name), shop=load_shop(shop_folder()))
    return folder


page()
