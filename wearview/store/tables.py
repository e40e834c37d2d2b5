"""The tables of the record as the steps in `migrations` leave them."""

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

# Which steps of the schema this database has seen, and which version of the program took them.
schema_step = Table(
    "schema_step",
    metadata,
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("program_version", String(40), nullable=False),
    Column("taken_at", String(40), nullable=False),
)

# The seals of the rows of every other append-only table (see `store.seal`).
seal = Table(
    "seal",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("table_name", String(40), nullable=False),
    Column("row_key", Text, nullable=False),
    Column("digest", String(64), nullable=False),
)

# What the shop has settled for all its teardowns; the newest row of a name holds.
shop_setting = Table(
    "shop_setting",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(40), nullable=False),
    Column("value", Text, nullable=False),
    Column("set_at", String(40), nullable=False),
)

teardown = Table(
    "teardown",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(200), nullable=False, unique=True),
    Column("opened_at", String(40), nullable=False, index=True),
)

# What is said of a teardown; the newest row holds. serial_key: letters and digits of the serial, for finding.
teardown_facts = Table(
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
    Column("mileage", String(40)),
)

# Personal data stands apart, in the one table that may be corrected and erased; nothing else repeats it.
customer = Table(
    "customer",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("reference", Text, nullable=False, unique=True),
    Column("name", Text),
    Column("phone", Text),
    Column("plate", Text),
)

# Whose unit a teardown is; the newest row holds. No foreign key: the id outlives what it stood for.
teardown_customer = Table(
    "teardown_customer",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("teardown_id", ForeignKey("teardown.id"), nullable=False, index=True),
    Column("customer_id", String(32), nullable=False, index=True),
    Column("stated_at", String(40), nullable=False),
)

element = Table(
    "element",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("teardown_id", ForeignKey("teardown.id"), nullable=False),
    Column("ordinal", Integer, nullable=False),
    Column("name", String(200), nullable=False),
    Column("added_at", String(40), nullable=False),
    UniqueConstraint("teardown_id", "name"),
    UniqueConstraint("teardown_id", "ordinal"),
)

# What an element does and what is expected of it; the newest row holds.
element_duty = Table(
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
)

# A file of the photo folder: an original, an overlay, or a file of a report that was handed over.
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

# The lining that a graded part was compared with, by its name in the library; from the document too.
graded_lining = Table(
    "graded_lining",
    metadata,
    Column("grading_id", ForeignKey("grading.id"), primary_key=True, autoincrement=False),
    Column("part_id", String(40), primary_key=True),
    Column("lining", Text, nullable=False, index=True),
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
    Column("blind", Boolean),
)

# The shop's checklist for a type of unit (`unit_key` empty: for any); the newest row of a unit holds.
checklist = Table(
    "checklist",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("unit_key", Text, nullable=False, index=True),
    Column("unit", Text),
    Column("entries", Text, nullable=False),
    Column("stated_at", String(40), nullable=False),
)

# What was said of one item of a teardown; the newest row of an item holds, and without an outcome takes it
# back.
inspection = Table(
    "inspection",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("teardown_id", ForeignKey("teardown.id"), nullable=False, index=True),
    Column("item", String(200), nullable=False),
    Column("outcome", String(20)),
    Column("given_by", Text),
    Column("note", Text),
    Column("said_at", String(40), nullable=False),
)

inspection_photo = Table(
    "inspection_photo",
    metadata,
    Column("inspection_id", ForeignKey("inspection.id"), primary_key=True, autoincrement=False),
    Column("photo_sha256", ForeignKey("photo.sha256"), primary_key=True),
    Column("file", Text, nullable=False),
)

# A measured length, its numbers as typed; the newest row of a name holds, and without a value takes it back.
measured_value = Table(
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
)

measured_photo = Table(
    "measured_photo",
    metadata,
    Column("measured_id", ForeignKey("measured_value.id"), primary_key=True, autoincrement=False),
    Column("photo_sha256", ForeignKey("photo.sha256"), primary_key=True),
    Column("file", Text, nullable=False),
)

# A report that was handed over, and its files as they were.
handover = Table(
    "handover",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("teardown_id", ForeignKey("teardown.id"), nullable=False, index=True),
    Column("program_version", String(40), nullable=False),
    Column("handed_at", String(40), nullable=False),
)

handover_file = Table(
    "handover_file",
    metadata,
    Column("handover_id", ForeignKey("handover.id"), primary_key=True, autoincrement=False),
    Column("name", String(200), primary_key=True),
    Column("sha256", ForeignKey("photo.sha256"), nullable=False),
)

# What agreement needs of a group of parts, as JSON (see `agreement.sums`).
agreement_sum = Table(
    "agreement_sum",
    metadata,
    Column("grouping", String(40), primary_key=True),
    Column("name", Text, primary_key=True),
    Column("sums", Text, nullable=False),
)

# A part of a newest grading whose level is another than the technician's, by the verdict that holds.
apart = Table(
    "apart",
    metadata,
    Column("verdict_id", ForeignKey("verdict.id"), primary_key=True, autoincrement=False),
    Column("element_id", ForeignKey("element.id"), nullable=False, index=True),
    Column("grading_id", ForeignKey("grading.id"), nullable=False),
    Column("distance", Integer, nullable=False),
    Index("ix_apart_distance", "distance", "verdict_id"),
)

# Every table but these is append-only: one may be corrected and erased, the others only count what the record
# says.
CORRECTABLE = {customer.name}
COUNTS = {agreement_sum.name, apart.name}
APPEND_ONLY = [table for table in metadata.sorted_tables if table.name not in CORRECTABLE | COUNTS]
# Rows that a seal covers. The rest follows from them (a graded part from its document) or is the program's.
SEALED = [table for table in APPEND_ONLY if table not in (seal, schema_step, graded_part, graded_lining)]
