"""Where a person stands: which record, which teardown, which element. Kept in the address, so that a reload
or a phone that slept comes back to the same place."""

import os
from pathlib import Path

import streamlit as st

from wearview import store as record
from wearview.record import Element, Teardown
from wearview.ui.bench import Bench, bench_of
from wearview.ui.demo import demo_url, open_demo
from wearview.ui.tray import ElementName
from wearview.ui.words import plain

PAGES = Path(__file__).parent / "pages"
KEPT = ("teardown", "element", "record")
DEMO, OWN = "demo", "own"  # the records, as an address names them


def remember() -> None:
    """Keep the place over pages, reloads and reruns. Streamlit forgets a widget that a page does not draw."""
    if in_demo():
        st.query_params["record"] = DEMO
    for key in KEPT:
        if key not in st.session_state and key in st.query_params:
            st.session_state[key] = st.query_params[key]
        elif key in st.session_state:
            st.session_state[key] = st.session_state[key]
    if in_demo():
        open_demo()  # an address outlives the program, and the demo's record ends with it


def page(name: str, title: str | None = None, *, first: bool = False) -> st.Page:
    """The page that `pages/` holds under a name."""
    return st.Page(PAGES / f"{name}.py", title=title, default=first)


def go(teardown: str | None, element: str | None = None) -> None:
    """Stand at another teardown."""
    st.session_state["teardown"] = teardown
    st.session_state["element"] = element


def in_demo() -> bool:
    """Whether this session looks at the demo's record instead of the shop's."""
    return st.session_state.get("record") == DEMO


def enter_demo() -> None:
    """Look at the demo, whose record is another one."""
    st.session_state["record"] = DEMO
    go(*open_demo())


def leave_demo() -> None:
    """Look at the shop's own record again."""
    st.session_state.pop("record", None)
    st.query_params.clear()
    go(None)


def which_record() -> str:
    """The record that this session looks at, as an address names it."""
    return DEMO if in_demo() else OWN


def url_of(which: str) -> str | None:
    """The demo's record, or that of WEARVIEW_STORE; None for the user's own."""
    return demo_url() if which == DEMO else os.environ.get("WEARVIEW_STORE") or None


def record_url() -> str | None:
    """The record that this session looks at."""
    return url_of(which_record())


def open_record() -> record.Store:
    """The record that the pages work on.

    Raises
    ------
    WearviewError
        When it cannot be opened.
    """
    return bench_of(record_url()).store


def the_bench() -> Bench:
    """What grades in the background for this record."""
    return bench_of(record_url())


def teardown_here(store: record.Store) -> Teardown | None:
    """The teardown that is open, under its name; None with what to do said where there is none."""
    name = st.session_state.get("teardown")
    if name is None or name not in [line.name for line in record.list_teardowns(store)]:
        st.info("No teardown is open. Choose or open one on the page Teardowns.")
        return None
    st.query_params["teardown"] = name
    return record.get_teardown(store, name)


def element_here(teardown: Teardown) -> Element | None:
    """The element chosen of the teardown's; None where it has none."""
    elements = {element.name: element for element in teardown.elements}
    if not elements:
        return None
    if st.session_state.get("element") not in elements:
        st.session_state["element"] = teardown.elements[0].name
    st.pills("Clutch or brake", list(elements), key="element", format_func=plain, required=True)
    st.query_params["element"] = st.session_state["element"]
    return elements[st.session_state["element"]]


def named(teardown: Teardown, element: Element) -> ElementName:
    """The element's tray."""
    return ElementName(teardown.name, element.name)


def name_here() -> ElementName | None:
    """The element that is open, by its names."""
    teardown, element = st.session_state.get("teardown"), st.session_state.get("element")
    return ElementName(teardown, element) if teardown and element else None
