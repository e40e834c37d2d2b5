"""The form that adds an element to a teardown, with its duty."""

import streamlit as st

from wearview import store as record
from wearview.record import EXAMPLES, Duty, Teardown
from wearview.terms import DIRECTIONS, EXPECTATIONS
from wearview.ui import here, show


def new_element(store: record.Store, teardown: Teardown) -> None:
    """Ask for an element and add it; it is the one that is open from then on."""
    with st.form("new element", border=False):
        name = st.text_input(
            "Its shop name", key=show.fresh("element name"), placeholder=f"for example {next(iter(EXAMPLES))}"
        )
        expects = st.selectbox(
            "What you expect to see there",
            EXPECTATIONS,
            index=None,
            format_func=EXPECTATIONS.__getitem__,
            placeholder="nothing stated",
            key=show.fresh("expects"),
        )
        words = st.text_input("The same in your own words", key=show.fresh("words"))
        applied = st.text_input(
            "When it is applied", key=show.fresh("applied"), placeholder="for example 2nd, 4th"
        )
        left, right = st.columns(2)
        plates = left.number_input(
            "Plates of the pack", 1, 200, value=None, placeholder="not counted", key=show.fresh("plates")
        )
        direction = right.selectbox(
            "Which way its piston pushes",
            DIRECTIONS,
            index=None,
            placeholder="not stated",
            key=show.fresh("direction"),
        )
        pressed = st.form_submit_button("Add", width="stretch", key="add element")
    if not pressed:
        return
    with show.in_words():
        duty = Duty(direction, plates, applied or None, expects, words or None)
        record.add_element(store, teardown.name, name, duty=duty)
        here.go(teardown.name, name.strip())
        show.start_afresh()
        st.rerun()
