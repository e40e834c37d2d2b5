"""What stands around every page: title, look, navigation above and cautions below."""

from pathlib import Path

import streamlit as st

from wearview.ui import show

PAGES = Path(__file__).parent / "pages"
# A friction plate from above. Drawn here, since an emoji or a named icon would be fetched from elsewhere.
ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64"><circle cx="32" cy="32" r="22" fill="none" '
    'stroke="#a5682f" stroke-width="14"/><circle cx="32" cy="32" r="30" fill="none" stroke="#40484d" '
    'stroke-width="3" stroke-dasharray="6 5.78"/></svg>'
)
# Choices that hold on every page. Streamlit forgets a widget's value where the widget is not drawn.
KEPT = ("teardown", "element")


def run() -> None:
    """Draw the page that was asked for."""
    st.set_page_config(page_title="wearview", page_icon=ICON, layout="wide")
    show.look()
    for key in KEPT:
        if key in st.session_state:
            st.session_state[key] = st.session_state[key]
    pages = [
        st.Page(PAGES / "grade.py", title="Grade", default=True),
        st.Page(PAGES / "teardown.py", title="Teardown"),
    ]
    chosen = st.navigation(pages, position="hidden")
    # Streamlit's own navigation folds away into a corner, out of sight on a phone.
    with st.container(horizontal=True):
        for page in pages:
            st.page_link(page, width="stretch")
    chosen.run()
    show.cautions()
