"""The teardowns of the shop: open one, find one again."""

import streamlit as st

from wearview import store as record
from wearview.record import TeardownLine
from wearview.report.words import day
from wearview.terms import WISHES
from wearview.ui import here, show
from wearview.ui.words import plain

LISTED = 20
WELCOME = (
    "A teardown is one unit opened for one customer. Open one, take photos of each clutch pack or band in "
    "position order, see what shows heat and why, decide, and hand the customer a report."
)


def page() -> None:
    """Open a teardown, or find it again."""
    st.title("Teardowns")
    show.told()
    with show.in_words():
        store = here.open_record()
        lines = record.list_teardowns(store)
        if not lines:
            st.info(WELCOME)
        if not here.in_demo():
            _demo(first=not lines)
        with st.expander("Open a new teardown", expanded=not lines):
            _new_teardown(store)
        if lines:
            _list(store, lines)


def _demo(*, first: bool) -> None:
    """A look at an invented shop's unit, in a record of its own."""
    label = "See it on a demo unit first" if first else "See the demo unit"
    if st.button(label, type="primary" if first else "secondary", width="stretch", key="demo"):
        here.enter_demo()
        st.switch_page(here.page("pack"))


def _new_teardown(store: record.Store) -> None:
    with st.form("new teardown", border=False):
        name = st.text_input("Name of the job", key=show.fresh("name"), placeholder="for example job-2317")
        unit = st.text_input("Type of unit", key=show.fresh("unit"))
        serial = st.text_input("Serial number", key=show.fresh("serial"))
        customer = st.text_input("Reference for the customer", key=show.fresh("customer"))
        wish = st.selectbox(
            "What the customer asked for",
            WISHES,
            index=None,
            accept_new_options=True,
            placeholder="choose, or type it in his words",
            key=show.fresh("wish"),
        )
        blind = st.checkbox(
            "Judge blind: hide what the program finds until the verdict is in",
            record.shop_is_blind(store),
            key=show.fresh("blind"),
        )
        pressed = st.form_submit_button("Open teardown", type="primary", width="stretch", key="open teardown")
    if not pressed:
        return
    with show.in_words():
        record.new_teardown(
            store,
            name,
            unit=unit or None,
            serial=serial or None,
            customer_ref=customer or None,
            wish=wish or None,
            blind=blind,
        )
        here.go(name.strip())
        show.start_afresh()
        st.switch_page(here.page("photos"))


def _list(store: record.Store, lines: list[TeardownLine]) -> None:
    """The newest teardowns, one button each, and a field that finds the others."""
    typed = st.text_input(
        "Find by name, unit, serial number or customer", key="find", placeholder="part of any of them"
    )
    found = record.find_teardowns(store, typed) if typed else lines
    if not found:
        st.info("No teardown matches. Type less of it.")
    for line in found[:LISTED]:
        facts = [line.unit, line.serial, line.customer, day(line.opened_at), line.closed and "closed"]
        if st.button(
            plain(", ".join([line.name, *(fact for fact in facts if fact)])),
            width="stretch",
            key=f"open {line.name}",
        ):
            here.go(line.name)
            st.switch_page(here.page("pack" if line.elements else "photos"))
    if len(found) > LISTED:
        st.caption(f"{len(found) - LISTED} more: type more of what you look for.")


page()
