"""Bringing a database to the schema of this program, one step in one transaction with its note."""

from collections.abc import Callable
from datetime import UTC, datetime

from sqlalchemy import Connection, func, insert, inspect, select

from wearview import __version__
from wearview.store.guards import guard_function, guards
from wearview.store.tables import APPEND_ONLY, metadata, schema_step


def _first(connection: Connection) -> None:
    metadata.create_all(connection)
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(guard_function())
    for table in APPEND_ONLY:
        for statement in guards(table, connection.dialect.name):
            connection.exec_driver_sql(statement)


STEPS: list[Callable[[Connection], None]] = [_first]
NEWEST = len(STEPS)


def version_of(connection: Connection) -> int:
    """Number of the last step that this database has taken; 0 for an empty one."""
    if not inspect(connection).has_table(schema_step.name):
        return 0
    return connection.scalar(select(func.max(schema_step.c.version))) or 0


def take_steps(connection: Connection) -> None:
    """Take the steps that are missing. The caller holds the write lock and commits."""
    for number in range(version_of(connection) + 1, NEWEST + 1):
        STEPS[number - 1](connection)
        note = {"version": number, "program_version": __version__, "taken_at": datetime.now(UTC).isoformat()}
        connection.execute(insert(schema_step).values(note))
