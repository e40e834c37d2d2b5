"""Counts of grades beside heat levels, made from the record as it stands and kept up from here on."""

from alembic import op
from sqlalchemy import Column, ForeignKey, Index, Integer, MetaData, String, Table, Text

from wearview.store.counted import count_anew

revision = "4"
down_revision = "3"


def upgrade() -> None:
    """Make the tables and count what there is. They follow the record, so nothing guards or seals them."""
    connection = op.get_bind()
    metadata = MetaData()
    metadata.reflect(connection, only=["verdict", "element", "grading"])
    metadata.create_all(connection, tables=_definitions(metadata))
    count_anew(connection)


def _definitions(metadata: MetaData) -> list[Table]:
    return [
        Table(
            "agreement_sum",
            metadata,
            Column("grouping", String(40), primary_key=True),
            Column("name", Text, primary_key=True),
            Column("sums", Text, nullable=False),
        ),
        Table(
            "apart",
            metadata,
            Column("verdict_id", ForeignKey("verdict.id"), primary_key=True, autoincrement=False),
            Column("element_id", ForeignKey("element.id"), nullable=False, index=True),
            Column("grading_id", ForeignKey("grading.id"), nullable=False),
            Column("distance", Integer, nullable=False),
            Index("ix_apart_distance", "distance", "verdict_id"),
        ),
    ]
