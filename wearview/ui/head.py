"""The head that the pages of one teardown share."""

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
