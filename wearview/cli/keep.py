"""A grading into the record: its document, the photos it was read from, and their overlays."""

import argparse
import hashlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from wearview import store as record
from wearview.cli.tables import printable
from wearview.cli.where import open_record
from wearview.draw import overlay_photo
from wearview.errors import CallError
from wearview.record import Document, Graded, miscount
from wearview.report import jpeg


def keeper(args: argparse.Namespace) -> Callable[[Graded, Document], Document]:
    """What keeps a grading in the record that a call names, and gives its document as it may be seen.

    The record is opened and its teardown looked up here, before any photo is graded.
    """
    store = open_record(args)
    teardown = record.get_teardown(store, args.teardown)
    if teardown.blind and args.overlays:
        raise CallError(
            "--overlays", "would show the grades, and this teardown is judged blind", "Leave it out"
        )

    def kept(graded: Graded, document: Document) -> Document:
        stored = keep(store, args.teardown, args.element, graded, document)
        teardown = record.get_teardown(store, args.teardown)
        [element] = [e for e in teardown.elements if e.name == args.element.strip()]
        if wrong := miscount(element):
            print(f"wearview: {printable(element.name)}: {wrong}", file=sys.stderr)
        # The grades of one that is judged blind are hidden.
        return element.latest.document if teardown.blind and element.latest else stored

    return kept


def keep(store: record.Store, teardown: str, element: str, graded: Graded, document: Document) -> Document:
    """Store a grading with its original photos and overlays; the document as stored."""
    return record.add_grading(store, teardown, element, document, _files(graded))


def _files(graded: Graded) -> Iterator[record.GradedPhoto]:
    """The originals, read again one at a time, with their overlays; second lights have none."""
    for photo in graded.photos:
        yield record.GradedPhoto(_original(photo.file, photo.sha256), jpeg(overlay_photo(photo)))
        if (second := photo.second_light) is not None:
            yield record.GradedPhoto(_original(second.file, second.sha256))


def _original(file: str, sha256: str) -> bytes:
    try:
        original = Path(file).read_bytes()
    except OSError as error:
        raise CallError(file, "went away while it was graded", "Grade it again") from error
    if hashlib.sha256(original).hexdigest() != sha256:
        raise CallError(file, "changed while it was graded", "Grade it again")
    return original
