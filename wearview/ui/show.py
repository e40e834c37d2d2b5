"""What the pages share: their look, forms that empty themselves, errors in words."""

import contextlib
from collections.abc import Iterable, Iterator, Sequence
from importlib.resources import files

import streamlit as st
from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.uploaded_file_manager import UploadedFile

from wearview.errors import WearviewError
from wearview.ui.words import cautions_html, plain

# "image/*" makes a phone offer its camera; some systems do not know the others as images.
PHOTO_TYPES = ["image/*", "heic", "heif", "tif", "tiff"]


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


def ask_photo(label: str, key: str) -> UploadedFile | None:
    """A field for one photo, with what it takes."""
    photo = st.file_uploader(label, type=PHOTO_TYPES, key=key)
    _what_photos()
    return photo


def ask_photos(label: str, key: str) -> list[UploadedFile]:
    """A field for photos, with what it takes."""
    photos = st.file_uploader(label, type=PHOTO_TYPES, accept_multiple_files=True, key=key)
    _what_photos()
    return photos


def _what_photos() -> None:
    """What a field for photos takes: Streamlit's own line there says it wrongly, and the look hides it."""
    st.caption(f"JPEG, HEIC, PNG, WebP or TIFF, up to {st.get_option('server.maxUploadSize')} MB each")


def let_go(uploads: Iterable[UploadedFile]) -> None:
    """Free the memory of uploads that were put elsewhere: Streamlit keeps them until the page is closed."""
    context = get_script_run_ctx()
    if context is None or not isinstance(context.uploaded_file_mgr, MemoryUploadedFileManager):
        return
    for upload in uploads:
        context.uploaded_file_mgr.remove_file(context.session_id, upload.file_id)


def fresh(name: str) -> str:
    """A widget's key that changes with `start_afresh`, so that a form is empty once it was used, and only
    then."""
    return f"{name} {st.session_state.get('forms used', 0)}"


def start_afresh() -> None:
    """Empty the forms whose keys come from `fresh` at the next run."""
    st.session_state["forms used"] = st.session_state.get("forms used", 0) + 1


def tell(text: str, *, asked: Sequence[str] = (), place: str = "") -> None:
    """Say something at the next run, once, and ask what has to be answered beside it: where `told` names the
    same place, since what stands on top of a long page is not seen from further down."""
    st.session_state["told"] = place, text, tuple(asked)


def told(place: str = "") -> None:
    """What `tell` was given for this place."""
    if st.session_state.get("told", (None,))[0] == place:
        _, text, asked = st.session_state.pop("told")
        st.success(plain(text))
        for question in asked:
            st.warning(plain(question))


def html(piece: str) -> None:
    """A piece of HTML, if there is anything in it."""
    if piece.strip():
        st.html(piece)
