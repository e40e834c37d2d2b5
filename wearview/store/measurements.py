"""Values measured with a tool, as they were typed. Measuring again is a new row."""

from collections.abc import Mapping
from dataclasses import replace

from wearview.record import Measured, measured_from
from wearview.store.beside import measured_of
from wearview.store.connect import Store, reading, writing
from wearview.store.look import open_teardown
from wearview.store.names import as_kept, checked_name, now
from wearview.store.photos import keep_attached, note_attached
from wearview.store.seal import add_row
from wearview.store.tables import measured_photo, measured_value


def add_measured(
    store: Store,
    teardown_name: str,
    what: str,
    value: str,
    unit: str,
    tool: str,
    *,
    least: str | None = None,
    most: str | None = None,
    limit_from: str | None = None,
    by: str | None = None,
    note: str | None = None,
    photos: Mapping[str, bytes] | None = None,
) -> Measured:
    """Store a measured value as typed, with its limit if the technician took one from somewhere.

    Parameters
    ----------
    photos : mapping of str to bytes, optional
        Photos of it by their files' names.

    Raises
    ------
    CallError
        When the teardown is unknown or closed, or as for `record.measured_from`.
    OutputError
        When a photo or the record cannot be written. Nothing of the value is then stored.
    """
    typed = measured_from(
        checked_name(what),
        value,
        unit,
        tool,
        least=least,
        most=most,
        limit_from=limit_from,
        by=by,
        note=note,
        measured_at=now(),
    )
    with reading(store) as connection:
        open_teardown(connection, teardown_name)  # before photos are copied
    given = replace(typed, photos=keep_attached(store, photos))
    with writing(store) as connection:
        owner = open_teardown(connection, teardown_name)
        values = {
            "teardown_id": owner.id,
            "what": given.what,
            "value": str(given.value),
            "tool": given.tool,
            "least": None if given.least is None else str(given.least),
            "most": None if given.most is None else str(given.most),
            "limit_from": given.limit_from,
            "given_by": given.by,
            "note": given.note,
            "measured_at": given.measured_at,
        }
        row_id = add_row(connection, measured_value, values)
        note_attached(connection, measured_photo, row_id, given.photos, photos)
    return given


def take_back_measured(store: Store, teardown_name: str, what: str) -> None:
    """Take a measured value back; the record keeps what was measured.

    Raises
    ------
    CallError
        When the teardown is unknown or closed, or has no value of this name.
    """
    with writing(store) as connection:
        owner = open_teardown(connection, teardown_name)
        kept = as_kept(what, (one.what for one in measured_of(connection, owner.id)), "measured value")
        add_row(connection, measured_value, {"teardown_id": owner.id, "what": kept, "measured_at": now()})
