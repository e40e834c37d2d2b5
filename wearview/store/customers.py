"""Customers: personal data in one table apart, which can be corrected and erased.

The rest of the record knows a customer by an opaque id. Gradings and verdicts survive an erasure.
"""

from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

from sqlalchemy import Connection, Row, delete, func, insert, select, update

from wearview.errors import CallError
from wearview.store.connect import Store, leave_no_trace, reading, writing
from wearview.store.look import unknown
from wearview.store.tables import customer, teardown, teardown_customer


@dataclass(frozen=True, slots=True)
class Customer:
    """What is known of a customer. `reference` is the shop's own; `teardowns` are names, oldest first."""

    id: str
    reference: str
    name: str | None
    phone: str | None
    plate: str | None
    teardowns: tuple[str, ...]


def list_customers(store: Store) -> list[Customer]:
    """Every customer by reference."""
    with reading(store) as connection:
        rows = connection.execute(select(customer).order_by(func.lower(customer.c.reference))).all()
        return [_customer(connection, row) for row in rows]


def get_customer(store: Store, reference: str) -> Customer:
    """The customer of a reference.

    Raises
    ------
    CallError
        When there is none.
    """
    with reading(store) as connection:
        return _customer(connection, _find(connection, reference))


def correct_customer(
    store: Store,
    reference: str,
    *,
    new_reference: str | None = None,
    name: str | None = None,
    phone: str | None = None,
    plate: str | None = None,
) -> Customer:
    """Note or correct a customer's data. What is None stays as it is; an empty text is erased.

    Raises
    ------
    CallError
        When the reference is unknown, or the new one is another customer's.
    """
    new_reference = (new_reference or "").strip() or None
    given = {"reference": new_reference, "name": name, "phone": phone, "plate": plate}
    with writing(store) as connection:
        row = _find(connection, reference)
        taken = select(customer.c.id).where(customer.c.reference == new_reference, customer.c.id != row.id)
        if new_reference and connection.scalar(taken) is not None:
            raise CallError(new_reference, "is another customer's reference", "Choose another one")
        changed = {key: value or None for key, value in given.items() if value is not None}
        if changed:
            connection.execute(update(customer).where(customer.c.id == row.id).values(changed))
        corrected = _customer(connection, _find(connection, new_reference or reference))
    leave_no_trace(store)
    return corrected


def erase_customer(store: Store, reference: str) -> list[Path]:
    """Erase a customer's data for good; teardowns, gradings and verdicts stay.

    Returns
    -------
    list of Path
        Copies beside a SQLite record that were made before it was brought up to date. They still hold what
        was erased, as does every backup made before.

    Raises
    ------
    CallError
        When the reference is unknown.
    """
    with writing(store) as connection:
        row = _find(connection, reference)
        connection.execute(delete(customer).where(customer.c.id == row.id))
    leave_no_trace(store)
    if store.file is None:
        return []
    return sorted(store.file.parent.glob(f"{store.file.stem}-version-*{store.file.suffix}"))


def customer_for(connection: Connection, reference: str) -> str:
    """The id of the customer of a reference, new where the reference is."""
    reference = reference.strip()
    found = connection.scalar(select(customer.c.id).where(customer.c.reference == reference))
    if found is None:
        found = uuid4().hex
        connection.execute(insert(customer).values(id=found, reference=reference))
    return found


def _find(connection: Connection, reference: str) -> Row:
    row = connection.execute(select(customer).where(customer.c.reference == reference.strip())).first()
    if row is None:
        known = list(connection.scalars(select(customer.c.reference)))
        raise unknown(reference, "reference of a customer", known)
    return row


def _customer(connection: Connection, row: Row) -> Customer:
    newest = select(func.max(teardown_customer.c.id)).group_by(teardown_customer.c.teardown_id)
    names = connection.scalars(
        select(teardown.c.name)
        .join(teardown_customer, teardown_customer.c.teardown_id == teardown.c.id)
        .where(teardown_customer.c.customer_id == row.id, teardown_customer.c.id.in_(newest))
        .order_by(teardown.c.id)
    )
    return Customer(row.id, row.reference, row.name, row.phone, row.plate, tuple(names))
