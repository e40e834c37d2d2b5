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
        for page in pages:
            st.page_link(page, width="stretch")
    if here.in_demo():
        with st.container(horizontal=True, key="in demo", vertical_alignment="center"):
            st.markdown("**Demo of an invented shop.** Nothing of it is kept in your record.")
            st.button("Back to your own record", on_click=here.leave_demo, key="leave demo")
    chosen.run()
    show.cautions()
