"""The page in the browser: `frame` stands around every page, `pages/` holds them, `show` what they share.

A page asks, calls one function of the pipeline, the store or the report, and shows what came back. The folder
`start/` holds only the script that Streamlit runs, since Streamlit looks for pages beside that script and
puts its folder first on the import path.
"""
