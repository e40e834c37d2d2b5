"""Records to test on: a SQLite file, and a database of a real PostgreSQL server started for the tests."""

import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy

from tests.needs import require
from wearview import store as record

POSTGRES = next(iter(sorted(Path("/usr/lib/postgresql").glob("*/bin"))), None) if os.name == "posix" else None


@pytest.fixture(scope="session")
def postgres_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A throw-away PostgreSQL server of our own; its URL without a database."""
    as_root = hasattr(os, "geteuid") and os.geteuid() == 0  # the server refuses to run as root
    require(
        POSTGRES is not None and (not as_root or shutil.which("runuser") is not None),
        "PostgreSQL (apt-get install postgresql)",
    )
    home = tmp_path_factory.mktemp("postgres")
    open_to_others(home)
    if as_root:
        shutil.chown(home, "postgres")
    before = ["runuser", "-u", "postgres", "--"] if as_root else []
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data = home / "data"
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={home} -c fsync=off"
    run = {"check": True, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": "/"}
    subprocess.run([*before, POSTGRES / "initdb", "-D", data, "-U", "tester", "-A", "trust"], **run)
    control = [*before, POSTGRES / "pg_ctl", "-D", data, "-w", "-l", home / "log"]
    subprocess.run([*control, "-o", options, "start"], **run)
    yield f"postgresql+psycopg://tester@127.0.0.1:{port}"
    subprocess.run([*control, "-m", "immediate", "stop"], **run)


def open_to_others(folder: Path) -> None:
    """Let another user into a folder of pytest's."""
    for path in (folder, *folder.parents):
        if path == Path("/tmp") or path == Path("/"):
            break
        path.chmod(0o755)


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """URL of a database with nothing in it, on either kind of server; photos lie in a folder of the test."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path}/record.sqlite"
    return new_database(request.getfixturevalue("postgres_server"), tmp_path)


def new_database(server: str, tmp_path: Path) -> str:
    """URL of a new database of a PostgreSQL server."""
    name = f"t{abs(hash(str(tmp_path)))}"
    admin = sqlalchemy.create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    admin.dispose()
    return f"{server}/{name}"


@pytest.fixture
def store(empty_url: str) -> record.Store:
    """An empty record."""
    return record.open_store(empty_url)
