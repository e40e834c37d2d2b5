"""Storing a grading with its photos. Each call is one transaction; nothing that stands there is changed."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, insert

from wearview.errors import CallError
from wearview.record import keep_ids, parts_of, to_json, validate
from wearview.store.connect import Store, writing
from wearview.store.counted import counting
from wearview.store.elements import element_for
from wearview.store.followed import lining_rows
from wearview.store.look import gradings_of, open_teardown
from wearview.store.names import checked_name, now
from wearview.store.photos import keep_file, note_file
from wearview.store.seal import add_row
from wearview.store.tables import graded_lining, graded_part, graded_photo, grading


@dataclass(frozen=True, slots=True, eq=False)
class GradedPhoto:
    """A photo to be kept with its grading: the bytes of the original file, and of the overlay as JPEG if
    drawn."""

    original: bytes
    overlay: bytes | None = None


def add_grading(
    store: Store,
    teardown_name: str,
    element_name: str,
    document: Mapping[str, Any],
    photos: Iterable[GradedPhoto],
) -> dict[str, Any]:
    """Store a grading of an element with its photos; the element is made if it is new.

    Parameters
    ----------
    document : dict
        Valid per the contract.
    photos : iterable of GradedPhoto
        One for each photo of the document and each second light, any order.

    Returns
    -------
    dict
        The document as stored: parts graded before keep the ids they had.

    Raises
    ------
    CallError
        When the teardown is unknown or closed, or a photo of the document is not among `photos`.
    OutputError
        When a photo or the record cannot be written. Nothing of the grading is then stored.
    """
    validate(document)
    element_name = checked_name(element_name)
    with writing(store) as connection:
        open_teardown(connection, teardown_name)  # before photos are copied
    # Files first: a row never speaks of a file that is not there. A crash here leaves a file that no row
    # names.
    kept = _keep(store, photos)
    if absent := [entry["file"] for entry in _files_of(document) if entry["sha256"] not in kept]:
        raise CallError(absent[0], "is not the file that was graded", "Grade it again")
    with writing(store) as connection:
        owner = open_teardown(connection, teardown_name)
        element_id = element_for(connection, owner.id, element_name)
        earlier = [old.document for old in gradings_of(connection, element_id)]
        stored = keep_ids(dict(document), earlier)
        validate(stored)
        with counting(connection, element_id):
            _insert_grading(connection, element_id, stored, kept)
    return stored


def _keep(store: Store, photos: Iterable[GradedPhoto]) -> dict[str, tuple[int, str | None, int]]:
    """sha256 of each original to its size, and the sha256 and size of its overlay."""
    kept = {}
    for given in photos:
        overlay = None if given.overlay is None else keep_file(store, given.overlay)
        kept[keep_file(store, given.original)] = (len(given.original), overlay, len(given.overlay or b""))
    return kept


def _files_of(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """File and sha256 of everything that a document was read from."""
    seconds = (entry["second_light"] for entry in document["photos"] if "second_light" in entry)
    return [*document["photos"], *seconds]


def _insert_grading(
    connection: Connection,
    element_id: int,
    document: dict[str, Any],
    kept: Mapping[str, tuple[int, str | None, int]],
) -> None:
    text = to_json(document)
    when = now()
    for entry in _files_of(document):
        size, overlay, overlay_size = kept[entry["sha256"]]
        note_file(connection, entry["sha256"], size)
        if overlay is not None:
            note_file(connection, overlay, overlay_size)
    values = {
        "element_id": element_id,
        "document": text,
        "document_sha256": hashlib.sha256(text.encode("ascii")).hexdigest(),
        "program_version": document["program"]["version"],
        "rules_id": document["rules"]["id"],
        "rules_sha256": document["rules"]["sha256"],
        "graded_at": when,
    }
    grading_id = add_row(connection, grading, values)
    for entry in document["photos"]:
        row = {
            "grading_id": grading_id,
            "photo_sha256": entry["sha256"],
            "overlay_sha256": kept[entry["sha256"]][1],
        }
        add_row(connection, graded_photo, row)
    if rows := [part_row(entry, part) for entry, part in parts_of(document)]:
        connection.execute(insert(graded_part), [{"grading_id": grading_id, **row} for row in rows])
    if linings := lining_rows(document):
        connection.execute(insert(graded_lining), [{"grading_id": grading_id, **row} for row in linings])


def part_row(entry: Mapping[str, Any], part: Mapping[str, Any]) -> dict[str, Any]:
    """What `graded_part` holds of a part in a photo's entry, all but the grading's id."""
    grade = part["grade"] or {"level": None, "name": None, "score": None}
    return {
        "part_id": part["id"],
        "photo_sha256": entry["sha256"],
        "position": part["position"],
        "side": part.get("side"),
        "kind": part["kind"],
        "level": grade["level"],
        "name": grade["name"],
        "score": grade["score"],
    }
