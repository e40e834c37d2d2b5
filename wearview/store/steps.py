"""Bringing a database to the schema of this program by alembic, each step in one transaction with its note.

A step only adds: tables, columns, indices, and rows that say in the new form what rows of the old form said.
"""

from datetime import UTC, datetime
from importlib.resources import files
from typing import Any

from sqlalchemy import Connection, column, func, insert, inspect, select, table

from wearview import __version__
from wearview.store.tables import schema_step

NEWEST = 6
# Where alembic notes the step that a database stands at; our own note is a row of schema_step.
ALEMBIC_TABLE = "alembic_version"


def version_of(connection: Connection) -> int:
    """Number of the last step that this database has taken; 0 for an empty one.

    Raises
    ------
    ValueError
        When another program keeps its count there.
    """
    there = inspect(connection)
    if there.has_table(ALEMBIC_TABLE):
        return int(connection.scalar(select(column("version_num")).select_from(table(ALEMBIC_TABLE))) or 0)
    if there.has_table(schema_step.name):  # made before alembic kept count
        return connection.scalar(select(func.max(schema_step.c.version))) or 0
    return 0


def take_steps(connection: Connection, *, to: int = NEWEST) -> None:
    """Take the steps that are missing. The caller holds the write lock and commits.

    Parameters
    ----------
    to : int
        The last step to take.
    """
    from alembic import command  # a tenth of a second, which an up-to-date record need not spend
    from alembic.config import Config

    config = Config()
    config.set_main_option("path_separator", "os")
    config.set_main_option("script_location", str(files("wearview.store") / "migrations").replace("%", "%%"))
    config.attributes.update(connection=connection, note=_note)
    before = version_of(connection)
    if before and not inspect(connection).has_table(ALEMBIC_TABLE):
        config.attributes["note"] = ()  # it has its note
        command.stamp(config, str(before))
        config.attributes["note"] = _note
    command.upgrade(config, str(to))


def _note(*, ctx: Any, step: Any, **_: Any) -> None:
    values = {
        "version": int(step.up_revision_id),
        "program_version": __version__,
        "taken_at": datetime.now(UTC).isoformat(),
    }
    ctx.connection.execute(insert(schema_step).values(values))
