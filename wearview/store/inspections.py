"""The shop's checklists, and what was found beside the packs, with its photos. Restating is a new row."""

import json
from collections.abc import Mapping, Sequence

from sqlalchemy import Connection, func, select

from wearview.errors import CallError
from wearview.record import Inspection
from wearview.store.beside import checklist_for, inspections_of, unit_key
from wearview.store.connect import Store, reading, writing
from wearview.store.look import open_teardown
from wearview.store.names import as_kept, checked_name, now
from wearview.store.photos import keep_attached, note_attached
from wearview.store.seal import add_row
from wearview.store.tables import checklist, inspection, inspection_photo


def set_checklist(store: Store, items: Sequence[str], unit: str | None = None) -> tuple[str, ...]:
    """Settle what a shop looks at when it opens a type of unit, in teardown order; any unit by default.

    No item at all takes the checklist of this type back.

    Raises
    ------
    CallError
        When an item is given twice or is no name.
    """
    names = tuple(checked_name(item) for item in items)
    folded = [name.casefold() for name in names]
    if twice := [name for name in names if folded.count(name.casefold()) > 1]:
        raise CallError(twice[0], "is given twice", "Name each item once")
    values = {
        "unit_key": unit_key(unit),
        "unit": (unit or "").strip() or None,
        "entries": json.dumps(names),
        "stated_at": now(),
    }
    with writing(store) as connection:
        add_row(connection, checklist, values)
    return names


def checklists(store: Store) -> dict[str, tuple[str, ...]]:
    """The checklists that hold, by type of unit; that of any other unit stands under ""."""
    newest = select(func.max(checklist.c.id)).group_by(checklist.c.unit_key)
    query = select(checklist).where(checklist.c.id.in_(newest)).order_by(checklist.c.unit_key)
    with reading(store) as connection:
        found = {row.unit or "": tuple(json.loads(row.entries)) for row in connection.execute(query)}
    return {unit: items for unit, items in found.items() if items}


def checklist_of(store: Store, unit: str | None) -> tuple[str, ...]:
    """The checklist that holds for a type of unit; empty where the shop has none."""
    with reading(store) as connection:
        return checklist_for(connection, unit)


def add_inspection(
    store: Store,
    teardown_name: str,
    item: str,
    outcome: str,
    *,
    by: str | None = None,
    note: str | None = None,
    photos: Mapping[str, bytes] | None = None,
) -> Inspection:
    """Store what was found at an item, on the checklist or not, in any order.

    Parameters
    ----------
    outcome : str
        One of `terms.OUTCOMES`.
    photos : mapping of str to bytes, optional
        Photos of it by their files' names.

    Raises
    ------
    CallError
        When the teardown is unknown or closed, or the outcome is none.
    OutputError
        When a photo or the record cannot be written. Nothing of the finding is then stored.
    """
    item = checked_name(item)
    with reading(store) as connection:
        open_teardown(connection, teardown_name)  # before photos are copied
    given = Inspection(item, outcome, by or None, note or None, now(), keep_attached(store, photos))
    with writing(store) as connection:
        owner = open_teardown(connection, teardown_name)
        row_id = _insert(connection, owner.id, given)
        note_attached(connection, inspection_photo, row_id, given.photos, photos)
    return given


def take_back_inspection(store: Store, teardown_name: str, item: str) -> None:
    """Take back what was said of an item, which is then not done; the record keeps what was said.

    Raises
    ------
    CallError
        When the teardown is unknown or closed, or nothing was said of the item.
    """
    with writing(store) as connection:
        owner = open_teardown(connection, teardown_name)
        kept = as_kept(item, (said.item for said in inspections_of(connection, owner.id)), "finding")
        add_row(connection, inspection, {"teardown_id": owner.id, "item": kept, "said_at": now()})


def _insert(connection: Connection, teardown_id: int, given: Inspection) -> int:
    values = {
        "teardown_id": teardown_id,
        "item": given.item,
        "outcome": given.outcome,
        "given_by": given.by,
        "note": given.note,
        "said_at": given.said_at,
    }
    return int(add_row(connection, inspection, values))
