"""Photos attached to measured values."""

from alembic import op
from sqlalchemy import Column, ForeignKey, MetaData, Table, Text

from wearview.store.guards import guard

revision = "6"
down_revision = "5"


def upgrade() -> None:
    """Make the table, guarded; no value that was measured before has a photo."""
    connection = op.get_bind()
    metadata = MetaData()
    metadata.reflect(connection, only=["measured_value", "photo"])
    added = Table(
        "measured_photo",
        metadata,
        Column("measured_id", ForeignKey("measured_value.id"), primary_key=True, autoincrement=False),
        Column("photo_sha256", ForeignKey("photo.sha256"), primary_key=True),
        Column("file", Text, nullable=False),
    )
    metadata.create_all(connection, tables=[added])
    guard(connection, added)
