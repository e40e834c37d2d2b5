"""The script that `wearview app` gives to Streamlit; `app.py` at the top of a checkout does the same."""

from wearview.ui.frame import run

run()
