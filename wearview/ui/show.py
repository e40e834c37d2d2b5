"""What the pages share: their look, forms that empty themselves, errors in words."""

import contextlib
from collections.abc import Iterator
from importlib.resources import files

import streamlit as st

from wearview.errors import WearviewError
from wearview.ui.words import cautions_html, plain


def look() -> None:
    """The page's own look."""
    st.html(f"<style>{(files('wearview') / 'templates' / 'page.css').read_text('utf-8')}</style>")


def cautions() -> None:
    """What nobody may overlook, below every page."""
    st.html(cautions_html())


@contextlib.contextmanager
def in_words() -> Iterator[None]:
    """Show an error of ours as its one line and go on after the block."""
    try:
        yield
    except WearviewError as error:
        st.error(plain(str(error)))


def fresh(name: str) -> str:
    """A widget's key that changes with `start_afresh`, so that a form is empty once it was used, and only
    then."""
    return f"{name} {st.session_state.get('forms used', 0)}"


def start_afresh() -> None:
    """Empty the forms whose keys come from `fresh` at the next run."""
    st.session_state["forms used"] = st.session_state.get("forms used", 0) + 1


def tell(text: str) -> None:
    """Say something at the next run, once."""
    st.session_state["told"] = text


def told() -> None:
    """What `tell` was given."""
    if text := st.session_state.pop("told", None):
        st.success(plain(text))


def html(piece: str) -> None:
    """A piece of HTML, if there is anything in it."""
    if piece.strip():
        st.html(piece)
