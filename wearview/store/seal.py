"""The seal of the record: a chain of hashes over its rows, so that one altered or taken out is noticed.

Triggers keep programs from changing a row; they keep nobody from dropping the triggers first. Each row that
is added gets a seal: the sha256 of the row's text and of the seal before it. Text and order are the same on
SQLite and PostgreSQL, so a record keeps its seals when it moves. Columns that are NULL are left out of the
text, so that a later step may add columns. The rows at the very end can be taken away together with their
seals: only a backup shows that.
"""

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from wearview.store.tables import seal

FIRST = "0" * 64
# Not part of a row's text: a grading's document has its sha256 in the row.
_LEFT_OUT = {"document"}


def row_text(row: Mapping[str, Any]) -> str:
    """A row as the seal takes it."""
    kept = {name: value for name, value in row.items() if value is not None and name not in _LEFT_OUT}
    return json.dumps(kept, sort_keys=True, separators=(",", ":"), allow_nan=False)


def key_text(table: Table, row: Mapping[str, Any]) -> str:
    """The primary key of a row as JSON."""
    return json.dumps([row[column.name] for column in table.primary_key])


def digest(previous: str, table: str, text: str) -> str:
    """The seal of a row that follows another one's."""
    return hashlib.sha256(f"{previous}\n{table}\n{text}".encode("ascii")).hexdigest()


def add_row(connection: Connection, table: Table, values: Mapping[str, Any]) -> Any:
    """Insert one row with its seal, in a write transaction; the first column of its primary key."""
    keys = connection.execute(insert(table).values(values).returning(*table.primary_key)).one()
    row = {**values, **keys._mapping}
    add_seal(connection, table, row)
    return keys[0]


def add_seal(connection: Connection, table: Table, row: Mapping[str, Any]) -> None:
    """Seal a row that has just been inserted."""
    last = connection.execute(select(seal.c.id, seal.c.digest).order_by(seal.c.id.desc()).limit(1)).first()
    number, previous = (0, FIRST) if last is None else (last.id, last.digest)
    values = {
        "id": number + 1,
        "table_name": table.name,
        "row_key": key_text(table, row),
        "digest": digest(previous, table.name, row_text(row)),
    }
    connection.execute(insert(seal).values(values))
