"""Reading what stands beside the packs: the shop's checklist, what was found by it, measured values."""

import json

from sqlalchemy import Connection, Table, select

from wearview.record import AttachedPhoto, Inspection, Measured, measured_from
from wearview.store.tables import checklist, inspection, inspection_photo, measured_photo, measured_value


def unit_key(unit: str | None) -> str:
    """A type of unit as checklists are found by it, however it was spaced and written."""
    return " ".join((unit or "").casefold().split())


def checklist_for(connection: Connection, unit: str | None) -> tuple[str, ...]:
    """The shop's checklist for a type of unit, else the one for any; empty where it has none."""
    for key in dict.fromkeys((unit_key(unit), "")):
        mine = select(checklist.c.entries).where(checklist.c.unit_key == key)
        items = json.loads(connection.scalar(mine.order_by(checklist.c.id.desc()).limit(1)) or "[]")
        if items:
            return tuple(items)
    return ()


def inspections_of(connection: Connection, teardown_id: int) -> tuple[Inspection, ...]:
    """What holds now of each item of a teardown of which anything was said, in the order said first."""
    mine = select(inspection).where(inspection.c.teardown_id == teardown_id).order_by(inspection.c.id)
    newest = {row.item.casefold(): row for row in connection.execute(mine).all()}
    return tuple(
        Inspection(
            row.item,
            row.outcome,
            row.given_by,
            row.note,
            row.said_at,
            _attached(connection, inspection_photo, row.id),
        )
        for row in newest.values()
        if row.outcome is not None
    )


def _attached(connection: Connection, table: Table, row_id: int) -> tuple[AttachedPhoto, ...]:
    """The photos of a row, from the table that joins the two."""
    owner = next(iter(table.primary_key))
    mine = select(table.c.file, table.c.photo_sha256).where(owner == row_id)
    return tuple(AttachedPhoto(*row) for row in connection.execute(mine.order_by(table.c.file)))


def measured_of(connection: Connection, teardown_id: int) -> tuple[Measured, ...]:
    """What holds now of each value measured on a teardown, in the order measured first."""
    m = measured_value.c
    mine = select(measured_value).where(m.teardown_id == teardown_id).order_by(m.id)
    newest = {row.what.casefold(): row for row in connection.execute(mine).all()}
    return tuple(
        measured_from(
            row.what,
            row.value,
            "mm",  # each text names its own
            row.tool,
            least=row.least,
            most=row.most,
            limit_from=row.limit_from,
            by=row.given_by,
            note=row.note,
            measured_at=row.measured_at,
            photos=_attached(connection, measured_photo, row.id),
        )
        for row in newest.values()
        if row.value is not None
    )
