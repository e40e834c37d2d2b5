"""Opening the record, and one transaction per call with database errors turned into words."""

import contextlib
import sqlite3
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from wearview.errors import CallError, StoreError
from wearview.files import make_folder
from wearview.store.guards import REFUSAL
from wearview.store.steps import NEWEST, take_steps, version_of

# How long a second writer waits for the first. Storing a pack takes well under a second.
WAIT_S = 60
# Any number, the same for every wearview: writers of one PostgreSQL database take turns by it.
_ADVISORY_LOCK = 0x57565243


@dataclass(frozen=True, slots=True, eq=False)
class Store:
    """An open record.

    Attributes
    ----------
    engine : sqlalchemy.Engine
    photos : Path
        Folder of kept originals and overlays.
    label : str
        The URL without its password, for messages.
    """

    engine: Engine
    photos: Path
    label: str


def default_url() -> str:
    """SQLite in the user's data folder."""
    return f"sqlite:///{user_data_path('wearview', appauthor=False) / 'record.sqlite'}"


def open_store(url: str | None = None, *, create: bool = True) -> Store:
    """Open a record, made or brought up to date where needed.

    Parameters
    ----------
    url : str, optional
        `sqlite:///FILE` or `postgresql+psycopg://...`; the user's own SQLite record by default. Photos lie
        in `photos/` beside a SQLite file, else in the user's data folder.
    create : bool
        Whether a SQLite file that is not there may be made.

    Raises
    ------
    CallError
        When the URL is not understood.
    StoreError
        When the database is away, damaged, or written by a newer program.
    """
    parsed = _parse(url or default_url())
    label = parsed.render_as_string(hide_password=True)
    if parsed.get_backend_name() == "sqlite":
        file = Path(str(parsed.database))
        if not create and not file.is_file():
            raise StoreError(label, "there is no record", "Begin one with: wearview teardown new NAME")
        make_folder(file.absolute().parent)
        photos = file.absolute().parent / "photos"
    else:
        photos = user_data_path("wearview", appauthor=False) / "photos"
    store = Store(_engine(parsed, label), photos, label)
    with _in_words(label), store.engine.connect() as connection:
        known = version_of(connection)
    if known > NEWEST:
        raise StoreError(
            label,
            f"was written by a newer wearview (record version {known}, this program knows {NEWEST})",
            "Install the newer program",
        )
    if known < NEWEST:
        with writing(store) as connection:
            take_steps(connection)
    return store


@contextlib.contextmanager
def reading(store: Store) -> Iterator[Connection]:
    """A connection in a read transaction.

    Raises
    ------
    StoreError
        For any error of the database.
    """
    with _in_words(store.label), store.engine.connect() as connection:
        yield connection


@contextlib.contextmanager
def writing(store: Store) -> Iterator[Connection]:
    """A connection in a write transaction, committed at the end and rolled back on any exception.

    The write lock is taken at once, so what is read inside stays true until the commit.

    Raises
    ------
    StoreError
        For any error of the database.
    """
    with _in_words(store.label), store.engine.connect() as plain:
        connection = plain.execution_options(wearview_writes=True)
        with connection.begin():
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ADVISORY_LOCK})")
            yield connection


def _parse(url: str) -> URL:
    remedy = "Give sqlite:///FILE or postgresql+psycopg://USER@HOST/DATABASE"
    try:
        parsed = make_url(url)
        backend = parsed.get_backend_name()
    except (ArgumentError, ValueError) as error:
        raise CallError(url, "is no database URL", remedy) from error
    if backend not in ("sqlite", "postgresql"):
        raise CallError(backend, "is no database that the record can be kept in", remedy)
    if backend == "sqlite" and parsed.database in (None, "", ":memory:"):
        raise CallError(url, "names no file", remedy)
    return parsed


def _engine(url: URL, label: str) -> Engine:
    # No pool: a call opens a connection and closes it, so nothing is left open when the program is killed or
    # done.
    try:
        if url.get_backend_name() == "postgresql":
            return create_engine(url, poolclass=NullPool)
        engine = create_engine(url, connect_args={"timeout": WAIT_S}, poolclass=NullPool)
    except (ImportError, NoSuchModuleError) as error:
        raise StoreError(label, "its database driver is not installed", "Run: pip install psycopg") from error
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    try:
        # The driver must not begin transactions by itself: it would not put DDL inside them.
        connection.isolation_level = None
        for pragma in ("foreign_keys=ON", "recursive_triggers=ON", "synchronous=FULL"):
            connection.execute(f"PRAGMA {pragma}")
        _use_wal(connection)
    except sqlite3.Error:
        connection.close()
        raise


def _use_wal(connection: sqlite3.Connection) -> None:
    """Let readers read while one program writes."""
    deadline = time.monotonic() + WAIT_S
    while connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        # SQLite does not wait for its own lock here when two programs open a new file at the same moment.
        try:
            if connection.execute("PRAGMA journal_mode=WAL").fetchone()[0] != "wal":
                return  # a file system without shared memory: the ordinary journal keeps the same promises
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.02)


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("wearview_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextlib.contextmanager
def _in_words(label: str) -> Iterator[None]:
    try:
        yield
    except SQLAlchemyError as error:
        told = str(getattr(error, "orig", None) or error).strip().splitlines()
        problem = f"the record could not be used ({told[0].strip() if told else type(error).__name__})"
        remedy = "Check that the database is there and can be written to"
        if REFUSAL in problem:
            remedy = "Add a new row instead"
        elif "locked" in problem:
            remedy = "Close the other program that is writing to it and run it again"
        elif "full" in problem:
            remedy = "Free some space and run it again"
        elif "not a database" in problem or "malformed" in problem:
            remedy = "Bring the file back from a backup"
        raise StoreError(label, problem, remedy) from error
