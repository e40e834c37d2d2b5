"""Records to test on: a SQLite file, and a database of a real PostgreSQL server started for the tests."""

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy

from tests.needs import require
from wearview import store as record
from wearview.store.backup import count_on
from wearview.store.steps import ALEMBIC_TABLE, take_steps
from wearview.store.tables import metadata

POSTGRES = next(iter(sorted(Path("/usr/lib/postgresql").glob("*/bin"))), None) if os.name == "posix" else None


def postgres_lacks() -> bool:
    """Whether this machine has no PostgreSQL that can be started here."""
    return POSTGRES is None or (_as_root() and shutil.which("runuser") is None)


def _as_root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0  # the server refuses to run as root


@contextlib.contextmanager
def running_postgres() -> Iterator[str]:
    """A throw-away PostgreSQL server of our own for the length of the block; its URL without a database."""
    assert POSTGRES is not None
    # Not in pytest's folder, which every session of pytest closes to other users when it begins.
    home = Path(tempfile.mkdtemp(prefix="wearview-postgres-"))
    if _as_root():
        shutil.chown(home, "postgres")
    before = ["runuser", "-u", "postgres", "--"] if _as_root() else []
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data = home / "data"
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={home} -c fsync=off"
    run = {"check": True, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": "/"}
    subprocess.run([*before, POSTGRES / "initdb", "-D", data, "-U", "tester", "-A", "trust"], **run)
    control = [*before, POSTGRES / "pg_ctl", "-D", data, "-w", "-l", home / "log"]
    subprocess.run([*control, "-o", options, "start"], **run)
    try:
        yield f"postgresql+psycopg://tester@127.0.0.1:{port}"
    finally:
        subprocess.run([*control, "-m", "immediate", "stop"], **run)
        shutil.rmtree(home)


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """URL of a PostgreSQL server started for the tests, without a database."""
    require(not postgres_lacks(), "PostgreSQL (apt-get install postgresql)")
    with running_postgres() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[str]:
    """URL of a database with nothing in it, on either kind of server; photos lie in a folder of the test."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path}/record.sqlite"
    else:
        with new_database(request.getfixturevalue("postgres_server")) as url:
            yield url


@contextlib.contextmanager
def new_database(server: str, template: str = "template0") -> Iterator[str]:
    """URL of a database of a PostgreSQL server that is there for the length of the block."""
    name = f"t{uuid4().hex}"
    admin = sqlalchemy.create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE {template}")
        yield f"{server}/{name}"
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    admin.dispose()


@pytest.fixture(scope="session")
def made_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite record as the steps make it, to be copied: taking them anew costs each test half a second."""
    file = tmp_path_factory.mktemp("made") / "record.sqlite"
    record.open_store(f"sqlite:///{file}")
    return file


@pytest.fixture(scope="session")
def made_database(postgres_server: str) -> Iterator[str]:
    """The name of a PostgreSQL record as the steps make it, to be copied."""
    with new_database(postgres_server) as url:
        record.open_store(url)
        yield url.rpartition("/")[2]


@pytest.fixture(params=["sqlite", "postgresql"])
def store(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[record.Store]:
    """An empty record on either kind of database."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    if request.param == "sqlite":
        shutil.copy(request.getfixturevalue("made_file"), tmp_path)
        yield record.open_store(f"sqlite:///{tmp_path}/record.sqlite")
    else:
        server, template = (request.getfixturevalue(name) for name in ("postgres_server", "made_database"))
        with new_database(server, template) as url:
            yield record.open_store(url)


def url_of(store: record.Store) -> str:
    """The URL that a record was opened by."""
    return store.engine.url.render_as_string(hide_password=False)


def copy_as_of_step(step: int, store: record.Store, url: str) -> None:
    """Put what a record's rows say into an empty database as it was after an earlier step of the schema."""
    engine = sqlalchemy.create_engine(url)
    with store.engine.connect() as source, engine.begin() as connection:
        take_steps(connection, to=step)
        there = sqlalchemy.MetaData()
        there.reflect(connection)
        for table in there.sorted_tables:
            if table.name not in (ALEMBIC_TABLE, "schema_step"):
                kept = sqlalchemy.select(*(metadata.tables[table.name].c[column.name] for column in table.c))
                rows = [dict(row) for row in source.execute(kept).mappings()]
                if rows:
                    connection.execute(table.insert(), rows)
                    if connection.dialect.name == "postgresql":
                        count_on(connection, table)
    engine.dispose()


def two_of_each(folder: Path) -> Iterator[tuple[str, str, str]]:
    """Each kind of database that there is: its name, and URLs of two empty ones."""
    yield "SQLite", f"sqlite:///{folder}/few/record.sqlite", f"sqlite:///{folder}/many/record.sqlite"
    if postgres_lacks():
        print("PostgreSQL is not installed here", file=sys.stderr)
        return
    with contextlib.ExitStack() as stack:
        server = stack.enter_context(running_postgres())
        few, many = (stack.enter_context(new_database(server)) for _ in range(2))
        yield "PostgreSQL", few, many
