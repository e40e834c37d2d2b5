"""The page in the browser: `streamlit run app.py`, or better `wearview app`."""

from wearview.ui.frame import run

run()
