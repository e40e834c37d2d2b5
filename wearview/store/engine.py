"""How the record's database is reached: its URL, and connections that hold what the record promises."""

import contextlib
import os
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError
from sqlalchemy.pool import NullPool

from wearview.errors import CallError, StoreError

# How long a second writer waits for the first. Storing a pack takes well under a second.
WAIT_S = 60


def parse_url(url: str) -> tuple[URL, Path | None]:
    """A database URL that the record can be kept in, and the folder that its `photos` names.

    Raises
    ------
    CallError
        When it is none.
    """
    remedy = "Give sqlite:///FILE or postgresql+psycopg://USER@HOST/DATABASE"
    try:
        url.encode("utf-8")
        parsed = make_url(url)
        backend = parsed.get_backend_name()
    except (ArgumentError, ValueError) as error:
        raise CallError(url, "is no database URL", remedy) from error
    if backend not in ("sqlite", "postgresql"):
        raise CallError(backend, "is no database that the record can be kept in", remedy)
    if backend == "sqlite" and parsed.database in (None, "", ":memory:"):
        raise CallError(url, "names no file", remedy)
    if "\0" in str(parsed.database):
        raise CallError(url, "names no file", remedy)
    folder = parsed.query.get("photos")
    if folder is not None and (not isinstance(folder, str) or not folder or "\0" in folder):
        raise CallError(url, "names no one folder for photos", "Give ?photos=FOLDER once")
    rest = parsed.difference_update_query(["photos"])
    if backend == "sqlite" and rest.query:
        raise CallError(url, f"has an option we do not know ({min(rest.query)})", "Leave all but photos away")
    return rest, None if folder is None else Path(folder).absolute()


def is_read_only(file: Path) -> bool:
    """Whether a SQLite file is there and cannot be written to: SQLite needs its folder as well."""
    return file.is_file() and not (os.access(file, os.W_OK) and os.access(file.absolute().parent, os.W_OK))


def make_engine(url: URL, label: str, *, read_only: bool) -> Engine:
    """An engine whose connections are opened for each call and closed after it.

    No pool: nothing is left open when the program is killed or done.

    Raises
    ------
    StoreError
        When the driver is not installed.
    """
    try:
        if url.get_backend_name() == "postgresql":
            return create_engine(url, poolclass=NullPool)
        file = Path(str(url.database)).absolute()
        engine = create_engine(url, creator=_reader(file) if read_only else _writer(file), poolclass=NullPool)
    except (ImportError, NoSuchModuleError) as error:
        raise StoreError(label, "its database driver is not installed", "Run: pip install psycopg") from error
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _writer(file: Path) -> Callable[[], sqlite3.Connection]:
    return lambda: _prepared(sqlite3.connect(file, timeout=WAIT_S, check_same_thread=False), _use_wal)


def _reader(file: Path) -> Callable[[], sqlite3.Connection]:
    def connect() -> sqlite3.Connection:
        try:
            return _prepared(_read_only(file), _read_something)
        except sqlite3.OperationalError:
            waiting = Path(f"{file}-wal")
            if waiting.is_file() and waiting.stat().st_size:
                raise
        # SQLite wants to make its index of waiting changes even where it only reads. Nothing waits here and
        # nobody can write, so the file may be taken as it is.
        return _prepared(_read_only(file, "&immutable=1"), _read_something)

    return connect


def _read_only(file: Path, more: str = "") -> sqlite3.Connection:
    return sqlite3.connect(f"{file.as_uri()}?mode=ro{more}", uri=True, check_same_thread=False)


def _prepared(
    connection: sqlite3.Connection, last: Callable[[sqlite3.Connection], None]
) -> sqlite3.Connection:
    try:
        # The driver must not begin transactions by itself: it would not put DDL inside them.
        connection.isolation_level = None
        # SQLite's own lower() knows only ASCII.
        connection.create_function("lower", 1, _lower, deterministic=True)
        # secure_delete: what is erased is overwritten, not only forgotten.
        for pragma in ("foreign_keys=ON", "recursive_triggers=ON", "synchronous=FULL", "secure_delete=ON"):
            connection.execute(f"PRAGMA {pragma}")
        last(connection)
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def _lower(text: Any) -> Any:
    return text.lower() if isinstance(text, str) else text


def _read_something(connection: sqlite3.Connection) -> None:
    connection.execute("SELECT count(*) FROM sqlite_master").fetchone()


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


def copy_sqlite(file: Path, target: Path) -> None:
    """A whole copy of a SQLite file as it stands, other programs' changes included, under a new name."""
    unfinished = target.with_name(f".writing-{target.name}")
    with (
        contextlib.closing(_read_only(file)) as source,
        contextlib.closing(sqlite3.connect(unfinished)) as copy,
    ):
        source.backup(copy)
    os.replace(unfinished, target)


def _begin_sqlite(connection: Connection) -> None:
    writes: Any = connection.get_execution_options().get("wearview_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
