"""Reading the record."""

import difflib
import json

from sqlalchemy import Connection, Row, func, select

from wearview.errors import CallError
from wearview.record import Element, Grading, Teardown, TeardownLine, Verdict
from wearview.store.connect import Store, reading
from wearview.store.tables import customer, element, graded_photo, grading, teardown, verdict


def list_teardowns(store: Store) -> list[TeardownLine]:
    """Every teardown, newest first."""
    counted = select(func.count()).where(element.c.teardown_id == teardown.c.id).scalar_subquery()
    query = (
        select(
            teardown.c.name,
            teardown.c.unit,
            teardown.c.serial,
            customer.c.reference,
            teardown.c.opened_at,
            counted,
        )
        .outerjoin(customer)
        .order_by(teardown.c.opened_at.desc(), teardown.c.id.desc())
    )
    with reading(store) as connection:
        return [TeardownLine(*row) for row in connection.execute(query)]


def get_teardown(store: Store, name: str) -> Teardown:
    """A teardown with its elements, every grading and every verdict.

    Raises
    ------
    CallError
        When there is no teardown of this name.
    """
    with reading(store) as connection:
        row = find_teardown(connection, name)
        reference = connection.scalar(select(customer.c.reference).where(customer.c.teardown_id == row.id))
        rows = connection.execute(
            select(element).where(element.c.teardown_id == row.id).order_by(element.c.ordinal)
        ).all()
        elements = tuple(
            Element(e.name, e.expectation, gradings_of(connection, e.id), _verdicts_of(connection, e.id))
            for e in rows
        )
    return Teardown(row.name, row.unit, row.serial, reference, row.wish, row.opened_at, elements)


def find_teardown(connection: Connection, name: str) -> Row:
    """The row of a teardown, or a CallError that offers the nearest names."""
    row = connection.execute(select(teardown).where(teardown.c.name == name)).first()
    if row is None:
        raise _unknown(name, "teardown", list(connection.scalars(select(teardown.c.name))))
    return row


def find_element(connection: Connection, teardown_id: int, name: str) -> Row:
    """The row of an element, or a CallError that offers the nearest names."""
    mine = element.c.teardown_id == teardown_id
    row = connection.execute(select(element).where(mine, element.c.name == name)).first()
    if row is None:
        raise _unknown(
            name, "element of this teardown", list(connection.scalars(select(element.c.name).where(mine)))
        )
    return row


def gradings_of(connection: Connection, element_id: int) -> tuple[Grading, ...]:
    """The gradings of an element, oldest first."""
    found = []
    query = select(grading).where(grading.c.element_id == element_id).order_by(grading.c.id)
    for row in connection.execute(query).all():
        overlays = connection.execute(
            select(graded_photo.c.photo_sha256, graded_photo.c.overlay_sha256).where(
                graded_photo.c.grading_id == row.id, graded_photo.c.overlay_sha256.is_not(None)
            )
        )
        kept = {row.photo_sha256: row.overlay_sha256 for row in overlays}
        found.append(Grading(json.loads(row.document), row.document_sha256, row.graded_at, kept))
    return tuple(found)


def _verdicts_of(connection: Connection, element_id: int) -> tuple[Verdict, ...]:
    query = select(verdict).where(verdict.c.element_id == element_id).order_by(verdict.c.id)
    return tuple(
        Verdict(v.target, v.part_id, v.decision, v.heat, v.reason, v.given_by, v.note, v.given_at)
        for v in connection.execute(query)
    )


def _unknown(name: str, what: str, known: list[str]) -> CallError:
    near = difflib.get_close_matches(name, known, n=3) or sorted(known)[:8]
    remedy = f"Known: {', '.join(near)}" if near else "There is none so far"
    return CallError(name, f"is no {what}", remedy)
