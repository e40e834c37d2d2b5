"""What the pages of one teardown share: their head, and the way back into a closed one."""

from collections.abc import Callable

import streamlit as st

from wearview import store as record
from wearview.record import Teardown
from wearview.ui import here, show
from wearview.ui.words import job_html


def on_teardown(title: str, rest: Callable[[record.Store, Teardown], None]) -> None:
    """Draw a page on the teardown that is open: its title, what was last said, the job, and the rest; where
    none is open, what to do."""
    st.title(title)
    show.told()
    with show.in_words():
        store = here.open_record()
        teardown = here.teardown_here(store)
        if teardown is not None:
            show.html(job_html(teardown))
            rest(store, teardown)


def offer_reopening(store: record.Store, teardown: Teardown) -> None:
    """Say that a teardown is closed, and open it again at a tap."""
    st.info("This teardown is closed: nothing is decided, graded or added in it.")
    if st.button("Open it again", width="stretch", key="reopen"):
        record.reopen_teardown(store, teardown.name)
        st.rerun()
