"""What the pages share: the record, choosing a teardown, showing what was graded, errors in words."""

import contextlib
import os
from collections.abc import Callable, Iterator
from importlib.resources import files

import streamlit as st

from wearview import store as record
from wearview.errors import WearviewError
from wearview.record import Document, PartLine
from wearview.report.view import base_name
from wearview.ui.words import cautions_html, pack_html, parts_html, plain, row_html


def look() -> None:
    """The page's own look."""
    st.html(f"<style>{(files('wearview') / 'templates' / 'page.css').read_text('utf-8')}</style>")


def cautions() -> None:
    """What nobody may overlook, below every page."""
    st.html(cautions_html())


@contextlib.contextmanager
def in_words() -> Iterator[None]:
    """Show an error of ours as its one line and go on after the block."""
    try:
        yield
    except WearviewError as error:
        st.error(plain(str(error)))


@st.cache_resource(max_entries=4, show_spinner=False)
def _opened(url: str | None) -> record.Store:
    return record.open_store(url)


def open_record() -> record.Store:
    """The record of WEARVIEW_STORE, else the user's own."""
    return _opened(os.environ.get("WEARVIEW_STORE") or None)


def choose_teardown(store: record.Store, *, placeholder: str) -> str | None:
    """The teardown chosen from the list or opened just now; None when there is none."""
    place = st.container()
    with st.expander("Open a new teardown"):
        _new_teardown(store)
    names = [line.name for line in record.list_teardowns(store)]
    if st.session_state.get("teardown") not in names:
        st.session_state["teardown"] = None
    with place:
        return st.selectbox(
            "Teardown", names, index=None, key="teardown", placeholder=placeholder, on_change=_forget_element
        )


def _forget_element() -> None:
    st.session_state["element"] = None


def _new_teardown(store: record.Store) -> None:
    with st.form("new teardown", border=False):
        name = st.text_input("Name of the job", key=fresh("name"), placeholder="for example job-2317")
        unit = st.text_input("Type of unit", key=fresh("unit"))
        serial = st.text_input("Serial number", key=fresh("serial"))
        customer = st.text_input("Reference for the customer", key=fresh("customer"))
        wish = st.text_area("What the customer asked for", key=fresh("wish"))
        pressed = st.form_submit_button("Open teardown", width="stretch", key="open teardown")
    if not pressed:
        return
    with in_words():
        record.new_teardown(
            store,
            name,
            unit=unit or None,
            serial=serial or None,
            customer_ref=customer or None,
            wish=wish or None,
        )
        st.session_state.update(teardown=name.strip(), element=None)
        start_afresh()
        st.rerun()


def fresh(name: str) -> str:
    """A widget's key that changes with `start_afresh`, so that a form is empty once it was used, and only
    then."""
    return f"{name} {st.session_state.get('forms used', 0)}"


def start_afresh() -> None:
    """Empty the forms whose keys come from `fresh` at the next run."""
    st.session_state["forms used"] = st.session_state.get("forms used", 0) + 1


def graded_element(
    document: Document,
    lines: list[PartLine],
    overlay: Callable[[str], bytes | None],
    *,
    with_verdicts: bool,
) -> None:
    """The row of plates, the photos with what was found drawn on them, what the pack shows, part by part.

    Parameters
    ----------
    document : dict
        The contract's.
    lines : list of PartLine
        Its parts in position order.
    overlay : callable
        JPEG bytes of the overlay of the photo with a sha256; None where there is none.
    with_verdicts : bool
        Whether the table has a column for them.
    """
    row(lines)
    drawn = [(photo, picture) for photo in document["photos"] if (picture := overlay(photo["sha256"]))]
    for first in range(0, len(drawn), 2):  # a phone shows columns below each other: a pair of them at a time
        for column, (photo, picture) in zip(st.columns(2), drawn[first : first + 2], strict=False):
            name = base_name(photo["file"])
            mine = [line for line in lines if line.photo["sha256"] == photo["sha256"]]
            column.image(picture, caption=plain(_caption(name, mine)), alt=_alt(name, mine), width="stretch")
    _html(pack_html(document, lines))
    _html(parts_html(lines, with_verdicts=with_verdicts))


def row(lines: list[PartLine]) -> None:
    """The pack as a row of heat levels."""
    _html(row_html(lines))


def _html(piece: str) -> None:
    if piece.strip():
        st.html(piece)


def _caption(name: str, lines: list[PartLine]) -> str:
    labels = ", ".join(line.label for line in lines)
    return f"{name}: position {labels}" if lines else name


def _alt(name: str, lines: list[PartLine]) -> str:
    """What the overlay shows, for those who cannot see it."""
    if not lines:
        return f"{name}: no part was graded in this photo."
    told = "; ".join(f"position {line.label}, {line.part['kind']}: {_level(line)}" for line in lines)
    return f"{name} with the parts outlined and their heat coloured in. {told}."


def _level(line: PartLine) -> str:
    return "cannot tell" if line.level is None else f"level {line.level}, {line.part['grade']['name']}"
