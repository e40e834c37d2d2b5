"""The elements of a teardown and their duties. A duty stated anew is a new row."""

from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

from sqlalchemy import Connection, func, select

from wearview.errors import CallError
from wearview.record import Duty
from wearview.store.connect import Store, writing
from wearview.store.look import duty_of, elements_of, find_teardown, open_teardown
from wearview.store.names import checked_name, now
from wearview.store.seal import add_row
from wearview.store.tables import element, element_duty


def add_element(store: Store, teardown_name: str, name: str, duty: Duty | None = None) -> None:
    """Add an element to a teardown, with its duty where it is known.

    Raises
    ------
    CallError
        When the teardown is unknown or closed, or already has an element of this name.
    """
    name = checked_name(name)
    with writing(store) as connection:
        owner = open_teardown(connection, teardown_name)
        if element_id(connection, owner.id, name) is not None:
            raise CallError(name, "this teardown has an element of this name", "Choose another name")
        _state(connection, insert_element(connection, owner.id, name), duty or Duty())


def state_duty(store: Store, teardown_name: str, name: str, given: Mapping[str, Any]) -> Duty:
    """State what an element does and what is expected of it; the element is made if it is new.

    Parameters
    ----------
    given : mapping
        Fields of `Duty`. Those left out stay as they are; an empty text takes one back.

    Returns
    -------
    Duty
        As it holds now.

    Raises
    ------
    CallError
        When the teardown is unknown or closed, or a value is none of a duty's.
    """
    changed = {key: None if value == "" else value for key, value in given.items()}
    with writing(store) as connection:
        owner = open_teardown(connection, teardown_name)
        row_id = element_id(connection, owner.id, name.strip())
        if row_id is None:
            row_id = insert_element(connection, owner.id, checked_name(name))
        before = duty_of(connection, row_id)
        duty = replace(before, **changed)
        if duty != before:
            _state(connection, row_id, duty)
    return duty


def copy_elements(store: Store, teardown_name: str, source: str) -> list[str]:
    """Add the elements of another teardown with their duties, those that are there already left alone.

    Returns
    -------
    list of str
        Names of the elements added.

    Raises
    ------
    CallError
        When a teardown is unknown, or the one to add to is closed.
    """
    added = []
    with writing(store) as connection:
        owner = open_teardown(connection, teardown_name)
        for row in elements_of(connection, find_teardown(connection, source).id):
            if element_id(connection, owner.id, row.name) is None:
                _state(
                    connection, insert_element(connection, owner.id, row.name), duty_of(connection, row.id)
                )
                added.append(row.name)
    return added


def element_id(connection: Connection, teardown_id: int, name: str) -> int | None:
    """Id of an element of a teardown; None where there is none of this name."""
    mine = (element.c.teardown_id == teardown_id, element.c.name == name)
    return connection.scalar(select(element.c.id).where(*mine))


def element_for(connection: Connection, teardown_id: int, name: str) -> int:
    """Id of an element of a teardown, made where it is new."""
    found = element_id(connection, teardown_id, name)
    return insert_element(connection, teardown_id, name) if found is None else found


def insert_element(connection: Connection, teardown_id: int, name: str) -> int:
    """Add an element after those that are there."""
    last = connection.scalar(select(func.max(element.c.ordinal)).where(element.c.teardown_id == teardown_id))
    values = {"teardown_id": teardown_id, "ordinal": (last or 0) + 1, "name": name, "added_at": now()}
    return int(add_row(connection, element, values))


def _state(connection: Connection, row_id: int, duty: Duty) -> None:
    if duty != Duty() or duty_of(connection, row_id) != Duty():
        add_row(connection, element_duty, {"element_id": row_id, **asdict(duty), "stated_at": now()})
