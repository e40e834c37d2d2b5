"""Uploaded photos through the pipeline, kept by content so that a tap never grades again."""

import contextvars
import hashlib
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PureWindowsPath

import streamlit as st

from wearview import store as record
from wearview.draw import overlay_photo
from wearview.errors import CleanReferenceError, PhotoError
from wearview.pipeline import Progress, grade_photos
from wearview.record import Document, Graded, Place, build_document
from wearview.report import jpeg
from wearview.settings import Settings


@dataclass(frozen=True, slots=True)
class Upload:
    """A photo as it came from the browser: its own name, without folders, and the sha256 of its bytes."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Asked:
    """Everything that a result depends on.

    Attributes
    ----------
    photos : tuple of Upload
        In the order in which they were given.
    reference : Upload or None
        Photo of a clean plate of the same lining.
    apply_end, first : str or None, str
        As in `pipeline.grade_photos`.
    kinds, positions : tuple or None
        Of the parts in the order found, where a person stated them.
    rules : str
        sha256 of the rules' file.
    """

    photos: tuple[Upload, ...]
    reference: Upload | None
    apply_end: str | None
    first: str
    rules: str
    kinds: tuple[str, ...] | None = None
    positions: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What came of it: the contract's document, overlays as JPEG by the photo's sha256, and in words which
    photos could not be read; names of those given twice."""

    document: Document
    overlays: dict[str, bytes]
    unread: tuple[str, ...]
    repeated: tuple[str, ...]


def upload(name: str, data: bytes) -> Upload:
    """The upload with these bytes."""
    return Upload(PureWindowsPath(name).name or "photo", hashlib.sha256(data).hexdigest())


def outside_the_cache(progress: Progress) -> Progress:
    """A progress callback that a cached function may call.

    Streamlit records what is drawn inside a cached function in order to draw it again on a hit. A progress
    bar belongs to the page, so it is moved in the context in which this was called.
    """
    context = contextvars.copy_context()
    return lambda done, total, text: context.run(progress, done, total, text)


@st.cache_data(max_entries=8, show_spinner=False)
def grade_uploads(
    asked: Asked, _data: Mapping[str, bytes], _settings: Settings, _progress: Progress
) -> Answer:
    """Grade uploaded photos as the command grades files.

    Parameters
    ----------
    asked : Asked
    _data : mapping of str to bytes
        The photos' bytes by sha256, the reference's among them.
    _settings : Settings
        Those whose rules `asked` names.
    _progress : callable
        From `outside_the_cache`.

    Raises
    ------
    CleanReferenceError
        When the reference cannot serve.
    """
    with tempfile.TemporaryDirectory(prefix="wearview-") as folder:
        paths = _write(Path(folder), (*asked.photos, *([asked.reference] if asked.reference else [])), _data)
        names = {path: given.name for path, given in paths}
        photos = [path for path, _ in paths[: len(asked.photos)]]
        try:
            graded = grade_photos(
                photos,
                _settings,
                reference=paths[-1][0] if asked.reference else None,
                apply_end=asked.apply_end,
                first=asked.first,
                kinds=asked.kinds,
                places=None if asked.positions is None else [Place(p) for p in asked.positions],
                progress=lambda done, total, text: _progress(done, total, names.get(text, "")),
            )
        except CleanReferenceError as error:
            raise CleanReferenceError(names[error.subject], error.problem, error.remedy) from error
    graded = _renamed(graded, names)
    return Answer(
        build_document(graded, _settings),
        {photo.sha256: jpeg(overlay_photo(photo)) for photo in graded.photos},
        tuple(str(error) for error in graded.unread),
        graded.repeated,
    )


def keep(
    store: record.Store, teardown: str, element: str, answer: Answer, data: Mapping[str, bytes]
) -> Answer:
    """Store an answer with its photos, as the command does; the answer with the document as stored."""
    photos = (record.GradedPhoto(data[sha256], overlay) for sha256, overlay in answer.overlays.items())
    return replace(answer, document=record.add_grading(store, teardown, element, answer.document, photos))


def _write(folder: Path, uploads: tuple[Upload, ...], data: Mapping[str, bytes]) -> list[tuple[str, Upload]]:
    """The uploads as files named by number: a browser's name may be anything, and two may be alike."""
    written = []
    for number, given in enumerate(uploads):
        path = folder / f"{number:04d}"
        path.write_bytes(data[given.sha256])
        written.append((str(path), given))
    return written


def _renamed(graded: Graded, names: Mapping[str, str]) -> Graded:
    """What was found, under the names that the photos came with."""
    file = graded.reference.file
    return replace(
        graded,
        photos=tuple(replace(photo, file=names[photo.file]) for photo in graded.photos),
        unread=tuple(PhotoError(names[e.subject], e.problem, e.remedy) for e in graded.unread),
        reference=replace(graded.reference, file=None if file is None else names[file]),
        repeated=tuple(names[path] for path in graded.repeated),
    )
