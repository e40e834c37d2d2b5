"""The page in the browser: `streamlit run app.py`, or better `wearview app`."""

from streamlit.starlette import App

from wearview.ui.serve import SCRIPT, surroundings

app = App(SCRIPT, **surroundings())
