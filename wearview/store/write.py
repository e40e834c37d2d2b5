"""Adding to the record. Each call is one transaction; nothing that stands there is changed."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, func, insert, select

from wearview.errors import CallError
from wearview.record import PACK, Verdict, keep_ids, parse_target, parts_of, position_label, to_json, validate
from wearview.store.connect import Store, writing
from wearview.store.look import find_element, find_teardown, gradings_of
from wearview.store.photos import keep_file
from wearview.store.tables import (
    customer,
    element,
    graded_part,
    graded_photo,
    grading,
    photo,
    teardown,
    verdict,
)


@dataclass(frozen=True, slots=True, eq=False)
class GradedPhoto:
    """A photo to be kept with its grading: the bytes of the original file, and of the overlay as JPEG if
    drawn."""

    original: bytes
    overlay: bytes | None = None


def new_teardown(
    store: Store,
    name: str,
    *,
    unit: str | None = None,
    serial: str | None = None,
    customer_ref: str | None = None,
    wish: str | None = None,
) -> None:
    """Open a teardown: one unit opened for one customer.

    Raises
    ------
    CallError
        When the name is taken, empty or not printable.
    """
    name = _checked_name(name)
    with writing(store) as connection:
        if connection.scalar(select(teardown.c.id).where(teardown.c.name == name)) is not None:
            raise CallError(name, "there is a teardown of this name", "Choose another name")
        values = {"name": name, "unit": unit, "serial": serial, "wish": wish, "opened_at": _now()}
        row_id = connection.scalar(insert(teardown).values(values).returning(teardown.c.id))
        if customer_ref:
            connection.execute(insert(customer).values(teardown_id=row_id, reference=customer_ref))


def add_element(store: Store, teardown_name: str, name: str, *, expectation: str | None = None) -> None:
    """Add an element to a teardown, with what the shop expects to see there.

    Raises
    ------
    CallError
        When the teardown is unknown or already has an element of this name.
    """
    name = _checked_name(name)
    with writing(store) as connection:
        owner = find_teardown(connection, teardown_name)
        if _element_id(connection, owner.id, name) is not None:
            raise CallError(name, "this teardown has an element of this name", "Choose another name")
        _insert_element(connection, owner.id, name, expectation)


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
        One for each photo of the document, any order.

    Returns
    -------
    dict
        The document as stored: parts graded before keep the ids they had.

    Raises
    ------
    CallError
        When the teardown is unknown, or a photo of the document is not among `photos`.
    OutputError
        When a photo or the record cannot be written. Nothing of the grading is then stored.
    """
    validate(document)
    element_name = _checked_name(element_name)
    with writing(store) as connection:
        find_teardown(connection, teardown_name)  # before photos are copied
    # Files first: a row never speaks of a file that is not there. A crash here leaves a file that no row
    # names.
    kept = _keep(store, photos)
    if absent := [entry["file"] for entry in document["photos"] if entry["sha256"] not in kept]:
        raise CallError(absent[0], "is not the file that was graded", "Grade it again")
    with writing(store) as connection:
        owner = find_teardown(connection, teardown_name)
        element_id = _element_id(connection, owner.id, element_name)
        if element_id is None:
            element_id = _insert_element(connection, owner.id, element_name, None)
        earlier = [old.document for old in gradings_of(connection, element_id)]
        stored = keep_ids(dict(document), earlier)
        validate(stored)
        _insert_grading(connection, element_id, stored, kept)
    return stored


def add_verdict(
    store: Store,
    teardown_name: str,
    element_name: str,
    target: str,
    decision: str,
    *,
    heat: int | None = None,
    reason: str | None = None,
    by: str | None = None,
    note: str | None = None,
) -> tuple[Verdict, ...]:
    """Store the technician's verdict as typed, beside whatever the grade says.

    Parameters
    ----------
    target : str
        A position of the newest grading ("3"; "3a" or "3r" for one side), "pack", or the name of a part
        outside a pack. A position means every part that holds it; the verdict stays with these parts when
        positions are corrected. A named part may stand in an element that has no photos; the element is then
        made.

    Returns
    -------
    tuple of Verdict
        As stored, one for each part.

    Raises
    ------
    CallError
        For an unknown teardown, element or position, or a word outside the contract.
    """
    target = _checked_name(target)
    place = parse_target(target)
    when = _now()
    with writing(store) as connection:
        owner = find_teardown(connection, teardown_name)
        if place is None and target != PACK and _element_id(connection, owner.id, element_name) is None:
            element_id = _insert_element(connection, owner.id, _checked_name(element_name), None)
        else:
            element_id = find_element(connection, owner.id, element_name).id
        part_ids = [None] if place is None else _parts_at(connection, element_id, element_name, place)
        given = tuple(
            Verdict(target, part_id, decision, heat, reason, by or None, note or None, when)
            for part_id in part_ids
        )
        for v in given:
            values = {
                "element_id": element_id,
                "part_id": v.part_id,
                "target": v.target,
                "decision": v.decision,
                "heat": v.heat,
                "reason": v.reason,
                "given_by": v.by,
                "note": v.note,
                "given_at": v.given_at,
            }
            connection.execute(insert(verdict).values(values))
    return given


def _parts_at(
    connection: Connection, element_id: int, element_name: str, place: tuple[int, str | None]
) -> list[str | None]:
    """Ids of the parts that hold a position in the newest grading, apply side first."""
    position, side = place
    newest = select(func.max(grading.c.id)).where(grading.c.element_id == element_id).scalar_subquery()
    rows = connection.execute(
        select(graded_part.c.part_id, graded_part.c.position, graded_part.c.side)
        .where(graded_part.c.grading_id == newest)
        .order_by(graded_part.c.position, graded_part.c.side)
    ).all()
    found: list[str | None] = [
        row.part_id for row in rows if row.position == position and side in (None, row.side)
    ]
    if not found:
        known = ", ".join(position_label(row._asdict()) for row in rows)
        remedy = f"It has {known}" if known else "Grade its photos first"
        typed = position_label({"position": position, "side": side})
        raise CallError(typed, f"is no position of {element_name}", remedy)
    return found


def _keep(store: Store, photos: Iterable[GradedPhoto]) -> dict[str, tuple[int, str | None, int]]:
    """sha256 of each original to its size, and the sha256 and size of its overlay."""
    kept = {}
    for given in photos:
        overlay = None if given.overlay is None else keep_file(store, given.overlay)
        kept[keep_file(store, given.original)] = (len(given.original), overlay, len(given.overlay or b""))
    return kept


def _insert_element(connection: Connection, teardown_id: int, name: str, expectation: str | None) -> int:
    last = connection.scalar(select(func.max(element.c.ordinal)).where(element.c.teardown_id == teardown_id))
    values = {
        "teardown_id": teardown_id,
        "ordinal": (last or 0) + 1,
        "name": name,
        "expectation": expectation,
        "added_at": _now(),
    }
    return connection.execute(insert(element).values(values).returning(element.c.id)).scalar_one()


def _insert_grading(
    connection: Connection,
    element_id: int,
    document: dict[str, Any],
    kept: Mapping[str, tuple[int, str | None, int]],
) -> None:
    text = to_json(document)
    when = _now()
    for entry in document["photos"]:
        size, overlay, overlay_size = kept[entry["sha256"]]
        _note_file(connection, entry["sha256"], size, when)
        if overlay is not None:
            _note_file(connection, overlay, overlay_size, when)
    values = {
        "element_id": element_id,
        "document": text,
        "document_sha256": hashlib.sha256(text.encode("ascii")).hexdigest(),
        "program_version": document["program"]["version"],
        "rules_id": document["rules"]["id"],
        "rules_sha256": document["rules"]["sha256"],
        "graded_at": when,
    }
    grading_id = connection.scalar(insert(grading).values(values).returning(grading.c.id))
    for entry in document["photos"]:
        row = {
            "grading_id": grading_id,
            "photo_sha256": entry["sha256"],
            "overlay_sha256": kept[entry["sha256"]][1],
        }
        connection.execute(insert(graded_photo).values(row))
    for entry, part in parts_of(document):
        grade = part["grade"] or {"level": None, "name": None, "score": None}
        row = {
            "grading_id": grading_id,
            "part_id": part["id"],
            "photo_sha256": entry["sha256"],
            "position": part["position"],
            "side": part.get("side"),
            "kind": part["kind"],
            "level": grade["level"],
            "name": grade["name"],
            "score": grade["score"],
        }
        connection.execute(insert(graded_part).values(row))


def _note_file(connection: Connection, sha256: str, size: int, when: str) -> None:
    if connection.scalar(select(photo.c.sha256).where(photo.c.sha256 == sha256)) is None:
        connection.execute(insert(photo).values(sha256=sha256, n_bytes=size, added_at=when))


def _element_id(connection: Connection, teardown_id: int, name: str) -> int | None:
    mine = (element.c.teardown_id == teardown_id, element.c.name == name)
    return connection.scalar(select(element.c.id).where(*mine))


def _checked_name(name: str) -> str:
    """A name as it can be typed again: no outer blanks, printable, short enough for a line."""
    name = name.strip()
    if not name or len(name) > 200 or not name.isprintable():
        raise CallError(name or "an empty name", "cannot be a name", "Use 1 to 200 printable characters")
    return name


def _now() -> str:
    return datetime.now(UTC).isoformat()
