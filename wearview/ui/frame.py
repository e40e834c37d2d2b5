"""What stands around every page: title, look, navigation above and cautions below."""

import streamlit as st

from wearview.ui import here, show

# A friction plate from above. Drawn here, since an emoji or a named icon would be fetched from elsewhere.
ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64"><circle cx="32" cy="32" r="22" fill="none" '
    'stroke="#a5682f" stroke-width="14"/><circle cx="32" cy="32" r="30" fill="none" stroke="#40484d" '
    'stroke-width="3" stroke-dasharray="6 5.78"/></svg>'
)


def run() -> None:
    """Draw the page that was asked for."""
    st.set_page_config(page_title="wearview", page_icon=ICON, layout="wide")
    show.look()
    here.remember()
    pages = [
        here.page("teardowns", "Teardowns", first=True),
        here.page("photos", "Photos"),
        here.page("pack", "Pack"),
        here.page("findings", "Findings"),
        here.page("report", "Report"),
        here.page("agreement", "Agreement"),
        here.page("shop", "Shop"),
    ]
    chosen = st.navigation(pages, position="hidden")
    # Streamlit's own navigation folds away into a corner, out of sight on a phone.
    with st.container(horizontal=True, gap="small", key="pages"):
        for each in pages:
            st.page_link(each, width="stretch")
    if here.in_demo():
        with st.container(horizontal=True, key="in demo", vertical_alignment="center"):
            st.markdown("**Demo of an invented shop.** Nothing of it is kept in your record.")
            st.button("Back to your own record", on_click=here.leave_demo, key="leave demo")
    # What stands below gets its place first. A fragment that looks again by itself may begin before the page
    # around it was sent: Streamlit then drops what was sent of the fragment, and the browser of a busy
    # machine, given what stands behind a place that is not there, goes blank for good.
    page, below = st.container(), st.container()
    with page:
        chosen.run()
    with below:
        show.cautions()
