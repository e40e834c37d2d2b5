"""Which lining each graded part was compared with, from its document; how far a unit had run."""

import json

from alembic import op
from sqlalchemy import Column, Connection, ForeignKey, MetaData, String, Table, Text, insert, select

from wearview.store.followed import lining_rows
from wearview.store.guards import guard

revision = "5"
down_revision = "4"


def upgrade() -> None:
    """Make the table, guarded, and say in it what the documents say; nobody has typed a mileage so far."""
    connection = op.get_bind()
    metadata = MetaData()
    metadata.reflect(connection, only=["grading"])
    added = Table(
        "graded_lining",
        metadata,
        Column("grading_id", ForeignKey("grading.id"), primary_key=True, autoincrement=False),
        Column("part_id", String(40), primary_key=True),
        Column("lining", Text, nullable=False, index=True),
    )
    metadata.create_all(connection, tables=[added])
    guard(connection, added)
    _fill(connection, metadata.tables["grading"], added)
    op.add_column("teardown_facts", Column("mileage", String(40)))


def _fill(connection: Connection, grading: Table, added: Table) -> None:
    for grading_id in connection.scalars(select(grading.c.id).order_by(grading.c.id)).all():
        document = json.loads(
            connection.scalar(select(grading.c.document).where(grading.c.id == grading_id)) or "{}"
        )
        if document.get("photos"):
            rows = [{"grading_id": grading_id, **row} for row in lining_rows(document)]
            if rows:
                connection.execute(insert(added), rows)
