"""The triggers that keep a table append-only, generated from its keys."""

from sqlalchemy import Connection, Table, UniqueConstraint

REFUSAL = "the record is append-only"


def keys_of(table: Table) -> list[list[str]]:
    """Column names of the primary key and of every other unique key."""
    keys = [[column.name for column in table.primary_key.columns]]
    for constraint in table.constraints:
        if isinstance(constraint, UniqueConstraint):
            keys.append([column.name for column in constraint.columns])
    keys.extend([column.name for column in index.columns] for index in table.indexes if index.unique)
    return [keys[0], *sorted(keys[1:])]


def guard_names(table: Table, dialect: str) -> list[str]:
    """Names of the triggers that `guards` makes."""
    kinds = ("update", "delete", "replace") if dialect == "sqlite" else ("change", "truncate")
    return [f"{table.name}_no_{kind}" for kind in kinds]


def guards(table: Table, dialect: str) -> list[str]:
    """SQL statements that make a table append-only.

    SQLite: UPDATE and DELETE raise; so does an INSERT that meets a row with one of its keys, since INSERT OR
    REPLACE deletes that row without firing a delete trigger. PostgreSQL: the row trigger also stops an
    upsert, but TRUNCATE fires statement triggers only.
    """
    names = guard_names(table, dialect)
    if dialect == "sqlite":
        met = " OR ".join(
            "(" + " AND ".join(f'"{column}" = NEW."{column}"' for column in key) + ")"
            for key in keys_of(table)
        )
        # Every name here is one of our own tables and columns.
        refuse = f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
        return [
            f'CREATE TRIGGER "{names[0]}" BEFORE UPDATE ON "{table.name}" {refuse}',
            f'CREATE TRIGGER "{names[1]}" BEFORE DELETE ON "{table.name}" {refuse}',
            f'CREATE TRIGGER "{names[2]}" BEFORE INSERT ON "{table.name}" '
            f'WHEN EXISTS (SELECT 1 FROM "{table.name}" WHERE {met}) {refuse}',  # nosec B608
        ]
    call = "EXECUTE FUNCTION wearview_refuse()"
    return [
        f'CREATE TRIGGER "{names[0]}" BEFORE UPDATE OR DELETE ON "{table.name}" FOR EACH ROW {call}',
        f'CREATE TRIGGER "{names[1]}" BEFORE TRUNCATE ON "{table.name}" FOR EACH STATEMENT {call}',
    ]


def guard(connection: Connection, table: Table) -> None:
    """Make a table append-only."""
    for statement in guards(table, connection.dialect.name):
        connection.exec_driver_sql(statement)


def make_guard_function(connection: Connection) -> None:
    """Make the function that PostgreSQL's triggers call; SQLite's need none."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(
            "CREATE FUNCTION wearview_refuse() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
        )
