"""Opening the record, and one transaction per call with database errors turned into words."""

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import SQLAlchemyError

from wearview.errors import StoreError
from wearview.files import make_folder
from wearview.shop import shop_folder
from wearview.store.engine import copy_sqlite, is_read_only, make_engine, parse_url
from wearview.store.guards import REFUSAL
from wearview.store.steps import NEWEST, take_steps, version_of

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
    file : Path or None
        The SQLite file.
    read_only : bool
        Whether that file cannot be written to.
    """

    engine: Engine
    photos: Path
    label: str
    file: Path | None = None
    read_only: bool = False


def default_url() -> str:
    """SQLite in the user's data folder."""
    return f"sqlite:///{shop_folder() / 'record.sqlite'}"


def open_store(url: str | None = None) -> Store:
    """Open a record, made or brought up to date where needed.

    A SQLite file is copied before it is brought up to date. One that cannot be written to is opened for
    reading.

    Parameters
    ----------
    url : str, optional
        `sqlite:///FILE` or `postgresql+psycopg://...`; the user's own SQLite record by default. Photos lie
        in `photos/` beside a SQLite file, else in the user's data folder; `?photos=FOLDER` at the end of the
        URL names another one, as benches need that share a database.

    Raises
    ------
    CallError
        When the URL is not understood.
    StoreError
        When the database is away, damaged, or written by a newer program.
    """
    store = reach(url)
    known = standing(store)
    if known > NEWEST:
        raise StoreError(
            store.label,
            f"was written by a newer wearview (record version {known}, this program knows {NEWEST})",
            "Install the newer program",
        )
    if known < NEWEST:
        _bring_up_to_date(store)
    return store


def reach(url: str | None = None) -> Store:
    """A record as it is: nothing is looked at, made or brought up to date yet.

    Raises
    ------
    CallError
        When the URL is not understood.
    """
    parsed, photos = parse_url(url or default_url())
    label = parsed.render_as_string(hide_password=True)
    if parsed.get_backend_name() != "sqlite":
        return Store(make_engine(parsed, label, read_only=False), photos or shop_folder() / "photos", label)
    file = Path(str(parsed.database)).absolute()
    read_only = is_read_only(file)
    engine = make_engine(parsed, label, read_only=read_only)
    return Store(engine, photos or file.parent / "photos", label, file, read_only)


def standing(store: Store) -> int:
    """The record's version; 0 where there is none yet. The folder of a SQLite file is made.

    Raises
    ------
    StoreError
        When the database is away, damaged or another program's.
    """
    if store.file is not None and not store.read_only:
        make_folder(store.file.parent)
    with _in_words(store.label), store.engine.connect() as connection:
        try:
            return version_of(connection)
        except ValueError as error:
            problem = "is another program's database"
            raise StoreError(store.label, problem, "Give --store another one") from error


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
def snapshot(store: Store) -> Iterator[Connection]:
    """A connection that sees the record as it stood at its first look, whatever others add meanwhile.

    Raises
    ------
    StoreError
        For any error of the database.
    """
    with reading(store) as connection:
        if connection.dialect.name == "postgresql":
            connection = connection.execution_options(isolation_level="REPEATABLE READ")
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
    if store.read_only:
        raise StoreError(store.label, "can only be read here", "Copy it to a folder that can be written to")
    with _in_words(store.label), store.engine.connect() as plain:
        connection = plain.execution_options(wearview_writes=True)
        with connection.begin():
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ADVISORY_LOCK})")
            yield connection


def leave_no_trace(store: Store) -> None:
    """Take what was overwritten or erased out of the database's own leftovers too.

    SQLite overwrites it in the file but keeps it in the changes that wait beside it, PostgreSQL in the table
    until it is vacuumed.

    Raises
    ------
    StoreError
        For any error of the database.
    """
    with _in_words(store.label), store.engine.connect() as connection:
        driver: Any = connection.connection.driver_connection
        if connection.dialect.name == "sqlite":
            busy, *_ = driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            if busy:
                problem = "what was erased still stands in the file beside it, which another program reads"
                raise StoreError(store.label, problem, "Close that program and run wearview customer list")
        else:
            driver.autocommit = True
            driver.execute("VACUUM customer")


def _bring_up_to_date(store: Store) -> None:
    with writing(store) as connection:
        known = version_of(connection)  # another program may have been quicker
        if store.file is not None and 0 < known < NEWEST:
            when = datetime.now(UTC).strftime("%Y%m%d-%H%M%S")
            name = f"{store.file.stem}-version-{known}-{when}{store.file.suffix}"
            copy_sqlite(store.file, store.file.with_name(name))
        take_steps(connection)


@contextlib.contextmanager
def _in_words(label: str) -> Iterator[None]:
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error) as error:
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
