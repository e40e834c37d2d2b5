"""What is looked at and measured beside the packs: the shop's checklist in any order, and measured values."""

from collections.abc import Callable, Sequence
from typing import Any

import streamlit as st

from wearview import store as record
from wearview.photo import read_photo_bytes
from wearview.record import EXAMPLE_CHECKLIST, NOT_DONE, CheckLine, Teardown, check_lines, counted
from wearview.report.words import FOUND_WORDS
from wearview.terms import LENGTH_UNITS, OUTCOMES
from wearview.ui import pictures, show
from wearview.ui.decide import BY
from wearview.ui.head import offer_reopening, on_teardown
from wearview.ui.words import found_html, measured_html, plain

NOTHING_YET = (
    "Nothing is noted so far, and the shop has no checklist for this unit. Note a leak, a scored drum or a "
    "pump pocket below, or settle a checklist first."
)
NOTHING_MEASURED = "Nothing is measured so far. A limit is yours to type, with where it is from."


def _page(store: record.Store, teardown: Teardown) -> None:
    """Go through the checklist, note what is found, note what is measured."""
    lines = check_lines(teardown.checklist, teardown.inspections)
    st.subheader("Beside the packs")
    if not lines:
        st.info("Nothing was noted." if teardown.closed else NOTHING_YET)
    elif teardown.checklist:
        st.markdown(f"**{counted(lines)}**")
    show.html(found_html(lines, _address))
    if teardown.closed:
        offer_reopening(store, teardown)
    else:
        _note(store, teardown, lines)
    _checklist(store, teardown)
    st.subheader("Measured")
    if teardown.measured:
        show.html(measured_html(teardown.measured, _address))
    else:
        st.info("Nothing was measured." if teardown.closed else NOTHING_MEASURED)
    if not teardown.closed:
        _mileage(store, teardown)
        _measure(store, teardown)
        _take_back(store, teardown)


def _address(sha256: str) -> str:
    return pictures.address(pictures.PHOTO, sha256)


def _given(photos: Sequence[Any] | None) -> dict[str, bytes]:
    """The chosen photos by name, each known to be one."""
    given = {photo.name: photo.getvalue() for photo in photos or ()}
    for name, data in given.items():
        read_photo_bytes(data, name)
    return given


def _note(store: record.Store, teardown: Teardown, lines: list[CheckLine]) -> None:
    """Ask what was found at an item; the first one not done is offered."""
    items = [line.item for line in lines]
    undone = [n for n, line in enumerate(lines) if line.state == NOT_DONE]
    item = st.selectbox(
        "Item",
        items,
        index=undone[0] if undone else None,
        accept_new_options=True,
        placeholder="choose, or type another one",
        key=show.fresh("item"),
    )
    outcome = st.pills(
        "What was found", OUTCOMES, format_func=FOUND_WORDS.__getitem__, key=show.fresh("outcome")
    )
    note = st.text_area("Note, in your own words", key=show.fresh("finding note"))
    photos = show.ask_photos("Photos of it", show.fresh("finding photos"))
    by = st.text_input("By", st.session_state.get(BY, ""), key="finding by")
    st.session_state[BY] = by
    if st.button("Note it", type="primary", width="stretch", key="note finding"):
        if item is None or outcome is None:
            st.warning("Choose the item and what was found.")
            return
        record.add_inspection(store, teardown.name, item, outcome, by=by, note=note, photos=_given(photos))
        _stored(f"{item}: {FOUND_WORDS[outcome]}.")


def _checklist(store: record.Store, teardown: Teardown) -> None:
    """The shop's checklist, an item a line."""
    with st.expander("The shop's checklist"):
        held = "\n".join(teardown.checklist or EXAMPLE_CHECKLIST)
        if not teardown.checklist:
            st.caption("Below is an example (common practice, no source). Make it what your shop looks at.")
        typed = st.text_area(
            "Items in the order the unit comes apart, one a line", held, height=320, key=show.fresh("items")
        )
        units = ["any other unit", *([teardown.unit] if teardown.unit else [])]
        unit = st.segmented_control(
            "For", units, default=units[-1], format_func=plain, required=True, key=show.fresh("list unit")
        )
        if st.button("Settle this checklist", width="stretch", key="settle checklist"):
            items = [line for line in typed.splitlines() if line.strip()]
            record.set_checklist(store, items, None if unit == units[0] else unit)
            _stored("The checklist is settled.")


def _mileage(store: record.Store, teardown: Teardown) -> None:
    """Ask how far the unit had run."""
    typed = st.text_input(
        "Mileage of the unit",
        str(teardown.mileage or ""),
        key=f"mileage of {teardown.name}",
        placeholder="for example 84000 km or 52000 mi",
    )
    if typed != str(teardown.mileage or "") and st.button(
        "Keep the mileage", width="stretch", key="keep mileage"
    ):
        record.change_teardown(store, teardown.name, mileage=typed)
        _stored(f"Mileage: {typed or 'taken back'}.")


def _measure(store: record.Store, teardown: Teardown) -> None:
    """Ask for a measured value, with its limit if there is one."""
    with st.form("measure", border=False):
        what = st.text_input(
            "What was measured", key=show.fresh("what"), placeholder="for example forward clutch clearance"
        )
        left, right = st.columns(2)
        value = left.text_input("Value", key=show.fresh("value"), placeholder="decimal or fraction")
        unit = right.segmented_control(
            "Unit", LENGTH_UNITS, default=LENGTH_UNITS[0], required=True, key="length unit"
        )
        tool = st.text_input("Tool", key=show.fresh("tool"), placeholder="for example feeler gauge")
        left, right = st.columns(2)
        least = left.text_input("At least", key=show.fresh("least"), placeholder="no limit")
        most = right.text_input("At most", key=show.fresh("most"), placeholder="no limit")
        source = st.text_input(
            "Where the limit is from", key=show.fresh("limit from"), placeholder="the manual and its page"
        )
        photos = show.ask_photos("Photos of it, if any", show.fresh("measured photos"))
        pressed = st.form_submit_button("Keep the value", type="primary", width="stretch", key="keep value")
    if pressed:
        given = record.add_measured(
            store,
            teardown.name,
            what,
            value,
            str(unit),
            tool,
            least=least or None,
            most=most or None,
            limit_from=source or None,
            by=st.session_state.get(BY) or None,
            photos=_given(photos),
        )
        _stored(f"{given.what}: {given.value.both}, {given.outcome or 'no limit was typed'}.")


def _take_back(store: record.Store, teardown: Teardown) -> None:
    """Take back what was said by mistake; the record keeps it."""
    noted: dict[str, tuple[Callable[[record.Store, str, str], None], str]] = {
        f"finding: {said.item}": (record.take_back_inspection, said.item) for said in teardown.inspections
    }
    for one in teardown.measured:
        noted[f"measured: {one.what}"] = (record.take_back_measured, one.what)
    if not noted:
        return
    with st.expander("Take something back"):
        chosen = st.selectbox(
            "What was noted by mistake", noted, index=None, placeholder="choose", key=show.fresh("mistake")
        )
        if st.button("Take it back", width="stretch", key="take back") and chosen is not None:
            take_back, name = noted[chosen]
            take_back(store, teardown.name, name)
            _stored(f"Taken back: {name}. The record keeps what was noted.")


def _stored(text: str) -> None:
    show.tell(text)
    show.start_afresh()
    st.rerun()


on_teardown("Findings", _page)
