"""What regrading an archive found: one document for each pack, rules and program, beside the shops' records.

It is no part of a shop's record and changes nothing in one.
"""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass

from sqlalchemy import Column, ColumnElement, MetaData, String, Table, Text, select
from sqlalchemy.dialects import postgresql, sqlite

from wearview.store.connect import Store, reach, reading, standing, writing
from wearview.store.names import now

_metadata = MetaData()
_regraded = Table(
    "regraded_pack",
    _metadata,
    Column("pack", Text, primary_key=True),
    Column("rules_sha256", String(64), primary_key=True),
    Column("program_version", String(40), primary_key=True),
    Column("rules_id", String(40), nullable=False),
    Column("document", Text),
    Column("problem", Text),
    Column("graded_at", String(40), nullable=False),
)


@dataclass(frozen=True, slots=True)
class Regraded:
    """A pack graded anew.

    Attributes
    ----------
    pack : str
        Its folder in the archive.
    document : str or None
        As `record.to_json` writes it; None where the pack could not be graded.
    problem : str or None
        Why not.
    """

    pack: str
    document: str | None
    problem: str | None


@dataclass(frozen=True, slots=True)
class By:
    """What a pack was graded by."""

    rules_id: str
    rules_sha256: str
    program_version: str


def open_results(url: str) -> Store:
    """The database for the results, with its table made where it is missing.

    Raises
    ------
    CallError
        When the URL is not understood.
    StoreError
        When the database is away or cannot be written.
    """
    store = reach(url)
    standing(store)
    with writing(store) as connection:
        _metadata.create_all(connection)
    return store


def add_results(store: Store, by: By, found: Sequence[Regraded]) -> int:
    """Store a batch in one transaction; how many of them were not there before.

    A document that is there stays as it is; only a problem gives way to what a later run found.

    Raises
    ------
    StoreError
        When they cannot be stored; none of them is then.
    """
    insert = (postgresql if store.engine.dialect.name == "postgresql" else sqlite).insert
    when = now()
    rows = [{**asdict(pack), **asdict(by), "graded_at": when} for pack in found]
    adding = insert(_regraded)
    anew = {name: adding.excluded[name] for name in ("document", "problem", "graded_at")}
    key = list(_regraded.primary_key)
    statement = adding.on_conflict_do_update(
        index_elements=key, set_=anew, where=_regraded.c.document.is_(None)
    )
    with writing(store) as connection:
        return len(connection.execute(statement.returning(_regraded.c.pack), rows).all())


def done_packs(store: Store, by: By) -> set[str]:
    """The packs that have a document by these rules and this program."""
    with reading(store) as connection:
        query = select(_regraded.c.pack).where(_of(by), _regraded.c.document.is_not(None))
        return set(connection.scalars(query, execution_options={"yield_per": 10_000}))


def results(store: Store, by: By) -> Iterator[Regraded]:
    """What was found, by the packs' names."""
    columns = _regraded.c.pack, _regraded.c.document, _regraded.c.problem
    with reading(store) as connection:
        query = select(*columns).where(_of(by)).order_by(_regraded.c.pack)
        for row in connection.execute(query, execution_options={"yield_per": 500}):
            yield Regraded(*row)


def _of(by: By) -> ColumnElement[bool]:
    return (_regraded.c.rules_sha256 == by.rules_sha256) & (_regraded.c.program_version == by.program_version)
