"""Reading the record."""

import difflib
import json
from collections.abc import Sequence
from datetime import date

from sqlalchemy import ColumnElement, Connection, Row, Select, func, or_, select

from wearview.errors import CallError
from wearview.record import (
    Duty,
    Element,
    Grading,
    Teardown,
    TeardownLine,
    Verdict,
    parse_mileage,
    veil,
)
from wearview.store.beside import checklist_for, inspections_of, measured_of
from wearview.store.connect import Store, reading
from wearview.store.names import serial_key
from wearview.store.tables import (
    customer,
    element,
    element_duty,
    graded_photo,
    grading,
    teardown,
    teardown_customer,
    teardown_facts,
    verdict,
)

# The customer's id of a teardown that was said to be nobody's after it had been somebody's.
NOBODY = ""


def list_teardowns(store: Store) -> list[TeardownLine]:
    """Every teardown, newest first."""
    return find_teardowns(store)


def find_teardowns(
    store: Store,
    text: str | None = None,
    *,
    unit: str | None = None,
    serial: str | None = None,
    customer_ref: str | None = None,
    opened: str | None = None,
) -> list[TeardownLine]:
    """Teardowns that hold all that is given, newest first. Case does not matter.

    Parameters
    ----------
    text : str, optional
        Part of the name, the type of unit, the serial number or the customer's reference.
    unit : str, optional
        Part of the type of unit.
    serial : str, optional
        Part of the serial number; only its letters and digits count.
    customer_ref : str, optional
        Part of the customer's reference, name or plate number.
    opened : str, optional
        When it was opened, in UTC: "2026", "2026-03" or "2026-03-05".

    Raises
    ------
    CallError
        When `opened` is no date.
    """
    conditions: list[ColumnElement[bool]] = []
    if text:
        anywhere = (teardown.c.name, teardown_facts.c.unit, teardown_facts.c.serial, customer.c.reference)
        conditions.append(or_(*(column.icontains(text, autoescape=True) for column in anywhere)))
    if unit:
        conditions.append(teardown_facts.c.unit.icontains(unit, autoescape=True))
    if serial:
        conditions.append(teardown_facts.c.serial_key.contains(serial_key(serial) or serial, autoescape=True))
    if customer_ref:
        said = (customer.c.reference, customer.c.name, customer.c.plate)
        conditions.append(or_(*(column.icontains(customer_ref, autoescape=True) for column in said)))
    if opened:
        conditions.append(teardown.c.opened_at.startswith(_checked_date(opened), autoescape=True))
    with reading(store) as connection:
        return _lines(connection, conditions)


def earlier_teardowns(store: Store, name: str) -> list[Teardown]:
    """Earlier teardowns of the same unit, told by its serial number, newest first.

    Raises
    ------
    CallError
        When there is no teardown of this name.
    """
    with reading(store) as connection:
        row = find_teardown(connection, name)
        key = facts_of(connection, row.id).serial_key
        if key is None:
            return []
        query = (
            with_facts(select(teardown.c.id, teardown.c.name, teardown.c.opened_at))
            .where(teardown_facts.c.serial_key == key, teardown.c.id < row.id)
            .order_by(teardown.c.id.desc())
        )
        return [veil(_teardown(connection, found)) for found in connection.execute(query).all()]


def get_teardown(store: Store, name: str) -> Teardown:
    """A teardown as a person may see it now: with its elements, gradings and verdicts, and where it is judged
    blind without the grades whose verdict is not in.

    Raises
    ------
    CallError
        When there is no teardown of this name.
    """
    return veil(get_whole_teardown(store, name))


def get_whole_teardown(store: Store, name: str) -> Teardown:
    """A teardown with every grade, hidden ones too: for the program's own use, never to be shown.

    Raises
    ------
    CallError
        When there is no teardown of this name.
    """
    with reading(store) as connection:
        return _teardown(connection, find_teardown(connection, name))


def is_closed(store: Store, name: str) -> bool:
    """Whether nothing may be added to a teardown now.

    Raises
    ------
    CallError
        When there is no teardown of this name.
    """
    with reading(store) as connection:
        return bool(facts_of(connection, find_teardown(connection, name).id).closed)


def find_teardown(connection: Connection, name: str) -> Row:
    """The row of a teardown, or a CallError that offers the nearest names."""
    row = connection.execute(select(teardown).where(teardown.c.name == name)).first()
    if row is None:
        raise unknown(name, "teardown", list(connection.scalars(select(teardown.c.name))))
    return row


def open_teardown(connection: Connection, name: str) -> Row:
    """The row of a teardown that may be added to, or a CallError."""
    row = find_teardown(connection, name)
    if facts_of(connection, row.id).closed:
        raise CallError(name, "is closed", f"Open it again with: wearview teardown reopen {name!r}")
    return row


def facts_of(connection: Connection, teardown_id: int) -> Row:
    """What is said of a teardown now."""
    mine = select(teardown_facts).where(teardown_facts.c.teardown_id == teardown_id)
    return connection.execute(mine.order_by(teardown_facts.c.id.desc()).limit(1)).one()


def elements_of(connection: Connection, teardown_id: int) -> Sequence[Row]:
    """Rows of a teardown's elements in their order."""
    mine = select(element).where(element.c.teardown_id == teardown_id)
    return connection.execute(mine.order_by(element.c.ordinal)).all()


def find_element(connection: Connection, teardown_id: int, name: str) -> Row:
    """The row of an element, or a CallError that offers the nearest names."""
    mine = element.c.teardown_id == teardown_id
    row = connection.execute(select(element).where(mine, element.c.name == name)).first()
    if row is None:
        known = list(connection.scalars(select(element.c.name).where(mine)))
        raise unknown(name, "element of this teardown", known)
    return row


def duty_of(connection: Connection, element_id: int) -> Duty:
    """The duty of an element as it holds now."""
    d = element_duty.c
    mine = select(d.direction, d.plates, d.applied, d.expects, d.words).where(d.element_id == element_id)
    row = connection.execute(mine.order_by(d.id.desc()).limit(1)).first()
    return Duty() if row is None else Duty(*row)


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


def unknown(name: str, what: str, known: list[str]) -> CallError:
    """The error for a name that is not there, offering the nearest ones."""
    near = difflib.get_close_matches(name, known, n=3) or sorted(known)[:8]
    remedy = f"Known: {', '.join(near)}" if near else "There is none so far"
    return CallError(name, f"is no {what}", remedy)


def with_facts(query: Select) -> Select:
    """The query joined with what is said of each teardown now."""
    newer = teardown_facts.alias()
    newest = select(func.max(newer.c.id)).where(newer.c.teardown_id == teardown.c.id).scalar_subquery()
    return query.join(teardown_facts, teardown_facts.c.teardown_id == teardown.c.id).where(
        teardown_facts.c.id == newest
    )


def _with_customer(query: Select) -> Select:
    """The query joined with each teardown's customer, if it has one that was not erased."""
    newer = teardown_customer.alias()
    newest = select(func.max(newer.c.id)).where(newer.c.teardown_id == teardown.c.id).scalar_subquery()
    return query.outerjoin(teardown_customer, teardown_customer.c.id == newest).outerjoin(
        customer, customer.c.id == teardown_customer.c.customer_id
    )


def _lines(connection: Connection, conditions: Sequence[ColumnElement[bool]]) -> list[TeardownLine]:
    counted = select(func.count()).where(element.c.teardown_id == teardown.c.id).scalar_subquery()
    columns = (
        teardown.c.name,
        teardown_facts.c.unit,
        teardown_facts.c.serial,
        customer.c.reference,
        teardown.c.opened_at,
        teardown_facts.c.closed,
        counted,
    )
    query = _with_customer(with_facts(select(*columns).select_from(teardown)))
    query = query.where(*conditions).order_by(teardown.c.opened_at.desc(), teardown.c.id.desc())
    return [TeardownLine(*row) for row in connection.execute(query)]


def _teardown(connection: Connection, row: Row) -> Teardown:
    facts = facts_of(connection, row.id)
    owner = connection.execute(
        _with_customer(
            select(teardown_customer.c.customer_id, customer.c.reference).select_from(teardown)
        ).where(teardown.c.id == row.id)
    ).one()
    return Teardown(
        row.name,
        facts.unit,
        facts.serial,
        owner.reference,
        facts.wish,
        row.opened_at,
        tuple(_element(connection, found) for found in elements_of(connection, row.id)),
        owner.customer_id or None,
        facts.blind,
        facts.closed,
        checklist_for(connection, facts.unit),
        inspections_of(connection, row.id),
        measured_of(connection, row.id),
        mileage=None if facts.mileage is None else parse_mileage(facts.mileage),
    )


def _element(connection: Connection, row: Row) -> Element:
    duty = duty_of(connection, row.id)
    return Element(
        row.name, duty.told, gradings_of(connection, row.id), _verdicts_of(connection, row.id), duty
    )


def _verdicts_of(connection: Connection, element_id: int) -> tuple[Verdict, ...]:
    query = select(verdict).where(verdict.c.element_id == element_id).order_by(verdict.c.id)
    return tuple(
        Verdict(v.target, v.part_id, v.decision, v.heat, v.reason, v.given_by, v.note, v.given_at, v.blind)
        for v in connection.execute(query)
    )


def _checked_date(text: str) -> str:
    """A year, month or day as ISO 8601 writes it."""
    try:
        if len(text) not in (4, 7, 10):
            raise ValueError(text)
        date.fromisoformat(text + "-01-01"[len(text) - 4 :])
    except ValueError:
        raise CallError(text, "is no date", "Give a year, month or day: 2026, 2026-03, 2026-03-05") from None
    return text
