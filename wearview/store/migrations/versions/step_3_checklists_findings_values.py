"""The shop's checklists, what was found beside the packs with its photos, and measured values."""

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, MetaData, String, Table, Text

from wearview.store.guards import guard

revision = "3"
down_revision = "2"


def upgrade() -> None:
    """Make the new tables, guarded; no old row says anything of them."""
    connection = op.get_bind()
    metadata = MetaData()
    metadata.reflect(connection, only=["teardown", "photo"])
    added = _definitions(metadata)
    metadata.create_all(connection, tables=added)
    for table in added:
        guard(connection, table)


def _definitions(metadata: MetaData) -> list[Table]:
    return [
        Table(
            "checklist",
            metadata,
            Column("id", Integer, primary_key=True),
            Column("unit_key", Text, nullable=False, index=True),
            Column("unit", Text),
            Column("entries", Text, nullable=False),
            Column("stated_at", String(40), nullable=False),
        ),
        Table(
            "inspection",
            metadata,
            Column("id", Integer, primary_key=True),
            Column("teardown_id", ForeignKey("teardown.id"), nullable=False, index=True),
            Column("item", String(200), nullable=False),
            Column("outcome", String(20)),
            Column("given_by", Text),
            Column("note", Text),
            Column("said_at", String(40), nullable=False),
        ),
        Table(
            "inspection_photo",
            metadata,
            Column("inspection_id", ForeignKey("inspection.id"), primary_key=True, autoincrement=False),
            Column("photo_sha256", ForeignKey("photo.sha256"), primary_key=True),
            Column("file", Text, nullable=False),
        ),
        Table(
            "measured_value",
            metadata,
            Column("id", Integer, primary_key=True),
            Column("teardown_id", ForeignKey("teardown.id"), nullable=False, index=True),
            Column("what", String(200), nullable=False),
            Column("value", String(40)),
            Column("tool", Text),
            Column("least", String(40)),
            Column("most", String(40)),
            Column("limit_from", Text),
            Column("given_by", Text),
            Column("note", Text),
            Column("measured_at", String(40), nullable=False),
        ),
    ]
