"""Facts that may be restated, duties of elements, customers by an opaque id, handed-over reports, seals."""

import json
from typing import Any
from uuid import uuid4

from alembic import op
from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    insert,
    inspect,
    select,
)

from wearview.store.guards import guard
from wearview.store.seal import FIRST, digest, row_text

revision = "2"
down_revision = "1"

# In this order the rows are sealed.
ORDER = [
    "teardown",
    "teardown_facts",
    "teardown_customer",
    "element",
    "element_duty",
    "photo",
    "grading",
    "graded_photo",
    "verdict",
]


def upgrade() -> None:
    """Make the new tables, say the old rows' facts in them, and seal every row there is."""
    connection = op.get_bind()
    old = MetaData()
    old.reflect(connection)
    customers = connection.execute(select(old.tables["customer"])).all()
    op.drop_table("customer")
    new = _new_tables(connection)
    _copy_facts(connection, old, new)
    _copy_customers(connection, new, customers)
    _copy_duties(connection, old, new)
    for column in ("unit", "serial", "wish"):
        op.drop_column("teardown", column)
    op.drop_column("element", "expectation")
    op.add_column("verdict", Column("blind", Boolean))
    op.create_index("ix_teardown_opened_at", "teardown", ["opened_at"])
    _seal_all(connection, new["seal"])


def _new_tables(connection: Connection) -> dict[str, Table]:
    """The tables that this step makes, guarded, by name."""
    metadata = MetaData()
    there = MetaData()
    there.reflect(connection, only=["teardown", "element", "photo"])
    for table in there.sorted_tables:
        table.to_metadata(metadata)
    added = _definitions(metadata)
    metadata.create_all(connection, tables=added)
    for table in added:
        if table.name != "customer":
            guard(connection, table)
    return {table.name: table for table in added}


def _definitions(metadata: MetaData) -> list[Table]:
    return [
        Table(
            "seal",
            metadata,
            Column("id", Integer, primary_key=True, autoincrement=False),
            Column("table_name", String(40), nullable=False),
            Column("row_key", Text, nullable=False),
            Column("digest", String(64), nullable=False),
        ),
        Table(
            "shop_setting",
            metadata,
            Column("id", Integer, primary_key=True),
            Column("name", String(40), nullable=False),
            Column("value", Text, nullable=False),
            Column("set_at", String(40), nullable=False),
        ),
        Table(
            "teardown_facts",
            metadata,
            Column("id", Integer, primary_key=True),
            Column("teardown_id", ForeignKey("teardown.id"), nullable=False, index=True),
            Column("unit", Text),
            Column("serial", Text),
            Column("serial_key", Text, index=True),
            Column("wish", Text),
            Column("blind", Boolean, nullable=False),
            Column("closed", Boolean, nullable=False),
            Column("stated_at", String(40), nullable=False),
        ),
        Table(
            "customer",
            metadata,
            Column("id", String(32), primary_key=True),
            Column("reference", Text, nullable=False, unique=True),
            Column("name", Text),
            Column("phone", Text),
            Column("plate", Text),
        ),
        Table(
            "teardown_customer",
            metadata,
            Column("id", Integer, primary_key=True),
            Column("teardown_id", ForeignKey("teardown.id"), nullable=False, index=True),
            Column("customer_id", String(32), nullable=False, index=True),
            Column("stated_at", String(40), nullable=False),
        ),
        Table(
            "element_duty",
            metadata,
            Column("id", Integer, primary_key=True),
            Column("element_id", ForeignKey("element.id"), nullable=False, index=True),
            Column("direction", String(20)),
            Column("plates", Integer),
            Column("applied", Text),
            Column("expects", String(20)),
            Column("words", Text),
            Column("stated_at", String(40), nullable=False),
        ),
        Table(
            "handover",
            metadata,
            Column("id", Integer, primary_key=True),
            Column("teardown_id", ForeignKey("teardown.id"), nullable=False, index=True),
            Column("program_version", String(40), nullable=False),
            Column("handed_at", String(40), nullable=False),
        ),
        Table(
            "handover_file",
            metadata,
            Column("handover_id", ForeignKey("handover.id"), primary_key=True, autoincrement=False),
            Column("name", String(200), primary_key=True),
            Column("sha256", ForeignKey("photo.sha256"), nullable=False),
        ),
    ]


def _copy_facts(connection: Connection, old: MetaData, new: dict[str, Table]) -> None:
    for row in connection.execute(select(old.tables["teardown"]).order_by("id")).all():
        values = {
            "teardown_id": row.id,
            "unit": row.unit,
            "serial": row.serial,
            "serial_key": "".join(c for c in (row.serial or "").casefold() if c.isalnum()) or None,
            "wish": row.wish,
            "blind": False,
            "closed": False,
            "stated_at": row.opened_at,
        }
        connection.execute(insert(new["teardown_facts"]).values(values))


def _copy_customers(connection: Connection, new: dict[str, Table], rows: Any) -> None:
    """One customer for each reference, however many teardowns had it."""
    ids: dict[str, str] = {}
    teardown = new["teardown_facts"].metadata.tables["teardown"]
    opened = {
        row.id: row.opened_at for row in connection.execute(select(teardown.c.id, teardown.c.opened_at))
    }
    for row in rows:
        if row.reference not in ids:
            ids[row.reference] = uuid4().hex
            values = {"id": ids[row.reference], "reference": row.reference}
            connection.execute(insert(new["customer"]).values(values))
        link = {
            "teardown_id": row.teardown_id,
            "customer_id": ids[row.reference],
            "stated_at": opened[row.teardown_id],
        }
        connection.execute(insert(new["teardown_customer"]).values(link))


def _copy_duties(connection: Connection, old: MetaData, new: dict[str, Table]) -> None:
    element = old.tables["element"]
    told = select(element).where(element.c.expectation.is_not(None)).order_by("id")
    for row in connection.execute(told).all():
        values = {"element_id": row.id, "words": row.expectation, "stated_at": row.added_at}
        connection.execute(insert(new["element_duty"]).values(values))


def _seal_all(connection: Connection, seal: Table) -> None:
    """Seal the rows as they stand now, table by table, in the order of their keys."""
    now = MetaData()
    now.reflect(connection, only=ORDER)
    previous, number = FIRST, 0
    for name in ORDER:
        table = now.tables[name]
        keys = inspect(table).primary_key
        columns = [column for column in table.columns if column.name != "document"]
        for row in connection.execute(select(*columns).order_by(*keys)).mappings().all():
            number += 1
            previous = digest(previous, name, row_text(dict(row)))
            values = {
                "id": number,
                "table_name": name,
                "row_key": json.dumps([row[column.name] for column in keys]),
                "digest": previous,
            }
            connection.execute(insert(seal).values(values))
