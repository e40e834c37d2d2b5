"""Opening a teardown, and restating what is said of it. A restatement is a new row."""

from typing import Any

from sqlalchemy import Connection, Row, select

from wearview.errors import CallError
from wearview.record import parse_mileage
from wearview.store.connect import Store, writing
from wearview.store.customers import customer_for
from wearview.store.look import NOBODY, facts_of, find_teardown
from wearview.store.names import checked_name, now, serial_key
from wearview.store.seal import add_row
from wearview.store.shop import blind_by_default
from wearview.store.tables import teardown, teardown_customer, teardown_facts


def new_teardown(
    store: Store,
    name: str,
    *,
    unit: str | None = None,
    serial: str | None = None,
    customer_ref: str | None = None,
    wish: str | None = None,
    blind: bool | None = None,
    mileage: str | None = None,
) -> None:
    """Open a teardown: one unit opened for one customer.

    Parameters
    ----------
    blind : bool, optional
        Whether grades stay hidden until the verdict is in; as the shop has settled it by default.

    Raises
    ------
    CallError
        When the name is taken, empty or not printable, or the mileage is none.
    """
    name = checked_name(name)
    run = str(parse_mileage(mileage)) if mileage else None
    with writing(store) as connection:
        if connection.scalar(select(teardown.c.id).where(teardown.c.name == name)) is not None:
            raise CallError(name, "there is a teardown of this name", "Choose another name")
        when = now()
        row_id = add_row(connection, teardown, {"name": name, "opened_at": when})
        facts = {
            "unit": unit or None,
            "serial": serial or None,
            "wish": wish or None,
            "blind": blind_by_default(connection) if blind is None else blind,
            "closed": False,
            "mileage": run,
        }
        _state(connection, row_id, facts, when)
        if customer_ref:
            _link(connection, row_id, customer_ref, when)


def change_teardown(
    store: Store,
    name: str,
    *,
    unit: str | None = None,
    serial: str | None = None,
    customer_ref: str | None = None,
    wish: str | None = None,
    blind: bool | None = None,
    mileage: str | None = None,
) -> None:
    """State facts of a teardown anew. What is None stays as it is; an empty text takes a fact back.

    Raises
    ------
    CallError
        When the teardown is unknown, or the mileage is none.
    """
    run = str(parse_mileage(mileage)) if mileage else mileage
    given = {"unit": unit, "serial": serial, "wish": wish, "blind": blind, "mileage": run}
    with writing(store) as connection:
        row = find_teardown(connection, name)
        changed = {key: value if value != "" else None for key, value in given.items() if value is not None}
        if changed:
            _state(connection, row.id, _facts(facts_of(connection, row.id)) | changed, now())
        if customer_ref is not None:
            _link(connection, row.id, customer_ref, now())


def close_teardown(store: Store, name: str) -> None:
    """Close a teardown: nothing is graded or judged in it until it is opened again.

    Raises
    ------
    CallError
        When the teardown is unknown or closed.
    """
    _set_closed(store, name, True)


def reopen_teardown(store: Store, name: str) -> None:
    """Open a closed teardown again.

    Raises
    ------
    CallError
        When the teardown is unknown or open.
    """
    _set_closed(store, name, False)


def _set_closed(store: Store, name: str, closed: bool) -> None:
    with writing(store) as connection:
        row = find_teardown(connection, name)
        facts = facts_of(connection, row.id)
        if facts.closed == closed:
            raise CallError(name, f"is {'closed' if closed else 'open'} already")
        _state(connection, row.id, _facts(facts) | {"closed": closed}, now())


def _facts(row: Row) -> dict[str, Any]:
    return {name: getattr(row, name) for name in ("unit", "serial", "wish", "blind", "closed", "mileage")}


def _state(connection: Connection, teardown_id: int, facts: dict[str, Any], when: str) -> None:
    keys = {"teardown_id": teardown_id, "serial_key": serial_key(facts["serial"]), "stated_at": when}
    add_row(connection, teardown_facts, facts | keys)


def _link(connection: Connection, teardown_id: int, reference: str, when: str) -> None:
    """State whose unit it is; an empty reference says that nobody's is known."""
    customer_id = customer_for(connection, reference) if reference.strip() else NOBODY
    values = {"teardown_id": teardown_id, "customer_id": customer_id, "stated_at": when}
    add_row(connection, teardown_customer, values)
