"""The teardowns of the shop: open one, find one again."""

import streamlit as st

from wearview import store as record
from wearview.record import TeardownLine
from wearview.report.words import day
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
        with st.expander("Open a new teardown", expanded=not lines):
            _new_teardown(store)
        if lines:
            _list(lines)


def _new_teardown(store: record.Store) -> None:
    with st.form("new teardown", border=False):
        name = st.text_input("Name of the job", key=show.fresh("name"), placeholder="for example job-2317")
        unit = st.text_input("Type of unit", key=show.fresh("unit"))
        serial = st.text_input("Serial number", key=show.fresh("serial"))
        customer = st.text_input("Reference for the customer", key=show.fresh("customer"))
        wish = st.text_area("What the customer asked for", key=show.fresh("wish"))
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
        )
        here.go(name.strip())
        show.start_afresh()
        st.switch_page(here.page("photos"))


def _list(lines: list[TeardownLine]) -> None:
    """The newest teardowns, one button each, and a field that finds the others."""
    typed = st.text_input(
        "Find by name, unit, serial number or customer", key="find", placeholder="part of any of them"
    )
    found = [line for line in lines if _matches(line, typed)]
    if not found:
        st.info("No teardown matches. Type less of it.")
    for line in found[:LISTED]:
        facts = [line.unit, line.serial, line.customer, day(line.opened_at)]
        if st.button(
            plain(", ".join([line.name, *(fact for fact in facts if fact)])),
            width="stretch",
            key=f"open {line.name}",
        ):
            here.go(line.name)
            st.switch_page(here.page("pack" if line.elements else "photos"))
    if len(found) > LISTED:
        st.caption(f"{len(found) - LISTED} more: type more of what you look for.")


def _matches(line: TeardownLine, typed: str) -> bool:
    facts = " ".join(filter(None, (line.name, line.unit, line.serial, line.customer))).lower()
    return all(piece in facts for piece in typed.lower().split())


page()
