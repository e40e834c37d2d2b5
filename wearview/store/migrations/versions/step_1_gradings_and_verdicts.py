"""Teardowns, elements, gradings and verdicts, append-only; the customer's reference apart."""

from alembic import op
from sqlalchemy import Column, Float, ForeignKey, Integer, MetaData, String, Table, Text, UniqueConstraint

from wearview.store.guards import guard, make_guard_function

revision = "1"
down_revision = None

# A step is history: its tables stand here as they were, whatever `store.tables` says today.
metadata = MetaData()
schema_step = Table(
    "schema_step",
    metadata,
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("program_version", String(40), nullable=False),
    Column("taken_at", String(40), nullable=False),
)
teardown = Table(
    "teardown",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(200), nullable=False, unique=True),
    Column("unit", Text),
    Column("serial", Text),
    Column("wish", Text),
    Column("opened_at", String(40), nullable=False),
)
customer = Table(
    "customer",
    metadata,
    Column("teardown_id", ForeignKey("teardown.id"), primary_key=True, autoincrement=False),
    Column("reference", Text, nullable=False),
)
element = Table(
    "element",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("teardown_id", ForeignKey("teardown.id"), nullable=False),
    Column("ordinal", Integer, nullable=False),
    Column("name", String(200), nullable=False),
    Column("expectation", Text),
    Column("added_at", String(40), nullable=False),
    UniqueConstraint("teardown_id", "name"),
    UniqueConstraint("teardown_id", "ordinal"),
)
photo = Table(
    "photo",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("n_bytes", Integer, nullable=False),
    Column("added_at", String(40), nullable=False),
)
grading = Table(
    "grading",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("element_id", ForeignKey("element.id"), nullable=False, index=True),
    Column("document", Text, nullable=False),
    Column("document_sha256", String(64), nullable=False),
    Column("program_version", String(40), nullable=False),
    Column("rules_id", String(80), nullable=False),
    Column("rules_sha256", String(64), nullable=False),
    Column("graded_at", String(40), nullable=False),
)
graded_photo = Table(
    "graded_photo",
    metadata,
    Column("grading_id", ForeignKey("grading.id"), primary_key=True, autoincrement=False),
    Column("photo_sha256", ForeignKey("photo.sha256"), primary_key=True, index=True),
    Column("overlay_sha256", ForeignKey("photo.sha256")),
)
graded_part = Table(
    "graded_part",
    metadata,
    Column("grading_id", ForeignKey("grading.id"), primary_key=True, autoincrement=False),
    Column("part_id", String(40), primary_key=True),
    Column("photo_sha256", ForeignKey("photo.sha256"), nullable=False),
    Column("position", Integer, nullable=False),
    Column("side", String(20)),
    Column("kind", String(40), nullable=False),
    Column("level", Integer),
    Column("name", String(80)),
    Column("score", Float),
)
verdict = Table(
    "verdict",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("element_id", ForeignKey("element.id"), nullable=False, index=True),
    Column("part_id", String(40)),
    Column("target", String(200), nullable=False),
    Column("decision", String(20), nullable=False),
    Column("heat", Integer),
    Column("reason", String(20)),
    Column("given_by", Text),
    Column("note", Text),
    Column("given_at", String(40), nullable=False),
)


def upgrade() -> None:
    """Make the tables and guard all but the customer's."""
    connection = op.get_bind()
    metadata.create_all(connection)
    make_guard_function(connection)
    for table in metadata.sorted_tables:
        if table is not customer:
            guard(connection, table)
