"""Faults made to happen: what was stored is as it was, and the program says what is the matter."""

import contextlib
import os
import signal
import time
from datetime import UTC, datetime

import pytest
import sqlalchemy

from tests import documents
from tests.databases import new_database
from tests.endurance.killing import fork
from tests.endurance.packs import ELEMENT, TEARDOWN, history, new_pack, store_pack
from tests.endurance.test_endurance import forks
from wearview import store as record
from wearview.errors import StoreError
from wearview.files import ABANDONED_S
from wearview.store import names
from wearview.store.backup import read_backup
from wearview.store.connect import writing
from wearview.store.photos import keep_file, photo_path
from wearview.store.verdicts import add_verdict


def one_job(url):
    store = record.open_store(url)
    record.new_teardown(store, TEARDOWN)
    store_pack(store, new_pack())
    return store


def abandoned(folder, name=".writing-x1"):
    """A file that a program was writing to when it was stopped, more than a day ago."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(b"half")
    then = time.time() - ABANDONED_S - 1
    os.utime(folder / name, (then, then))
    return folder / name


def test_what_a_stopped_program_left_half_written_is_removed_by_a_check(store):
    record.new_teardown(store, TEARDOWN)
    store_pack(store, new_pack())
    folders = [path for path in store.photos.iterdir() if path.is_dir()]
    left = [abandoned(folders[0]), abandoned(store.photos.parent / "trays"), abandoned(store.photos.parent)]
    at_work = folders[0] / ".writing-now"
    at_work.write_bytes(b"ha")
    checked = record.check_record(store)
    assert (checked.unfinished, checked.findings) == (3, ())
    assert not any(path.exists() for path in left)
    assert at_work.exists()  # another program may be writing it
    assert record.check_record(store).unfinished == 0


@forks
def test_a_backup_that_is_killed_leaves_the_one_before_it_whole(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    url = f"sqlite:///{tmp_path}/record/record.sqlite"
    store = one_job(url)
    other = tmp_path / "other disk"
    other.mkdir()
    record.write_backup(store, other / "shop.zip")
    before = read_backup(other / "shop.zip")
    for _ in range(20):
        store_pack(store, new_pack(400_000))
    pid = fork(lambda: record.write_backup(record.open_store(url), other / "shop.zip"))
    while not (left := list(other.glob(".writing-*"))):
        assert os.waitpid(pid, os.WNOHANG) == (0, 0), "it was done before it could be killed"
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    assert read_backup(other / "shop.zip") == before
    then = time.time() - ABANDONED_S - 1
    os.utime(left[0], (then, then))
    assert len(record.write_backup(store, other / "shop.zip")["files"]) > len(before["files"])
    assert [path.name for path in other.iterdir()] == ["shop.zip"]


def test_a_clock_set_back_changes_no_order_and_no_seal(store, monkeypatch):
    class Clock:
        year = 2031

        @classmethod
        def now(cls, zone):
            return datetime(cls.year, 5, 3, 10, 0, tzinfo=zone)

    record.new_teardown(store, TEARDOWN)
    with monkeypatch.context() as patch:
        patch.setattr(names, "datetime", Clock)
        store_pack(store, first := new_pack())
        Clock.year = 2019
        store_pack(store, second := new_pack())
        add_verdict(store, TEARDOWN, ELEMENT, "1", "replace", note="last")
    gradings, notes = history(store)
    assert len(gradings) == 2
    assert notes == [p.photos[0].original[-8:].hex() for p in (first, second)] + ["last"]
    [element] = record.get_teardown(store, TEARDOWN).elements
    assert [g.graded_at[:4] for g in element.gradings] == ["2031", "2019"]
    assert element.latest == element.gradings[-1]
    assert record.check_record(store).findings == ()
    assert datetime.now(UTC).isoformat() > element.latest.graded_at


def test_a_photo_deleted_underneath_is_named_and_comes_back_when_given_again(store):
    record.new_teardown(store, TEARDOWN)
    store_pack(store, pack := new_pack())
    original = pack.photos[0].original
    sha256 = documents.sha256(original)
    photo_path(store, sha256).unlink()
    with pytest.raises(StoreError, match=r"cannot be read.*Bring the photo folder back"):
        record.photo_bytes(store, sha256)
    assert [f.problem for f in record.check_record(store).findings] == ["this kept photo is missing"]
    before = history(store)
    assert keep_file(store, original) == sha256
    assert record.check_record(store).findings == ()
    assert history(store) == before


@contextlib.contextmanager
def away(server, url):
    """The database closed to everybody, and every connection to it cut."""
    name = url.rpartition("/")[2]
    admin = sqlalchemy.create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
        cut = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s"
        connection.exec_driver_sql(cut, (name,))
        yield
        connection.exec_driver_sql(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")
    admin.dispose()


def test_a_database_that_goes_away_in_a_transaction_and_comes_back_has_all_or_nothing(
    postgres_server, tmp_path, monkeypatch
):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    with new_database(postgres_server) as url:
        store = one_job(url)
        before = history(store)
        insert = "INSERT INTO teardown (name, opened_at) VALUES ('half', 'now')"
        with contextlib.ExitStack() as closed:

            def cut_off_half_way():
                with writing(store) as connection:
                    connection.exec_driver_sql(insert)
                    closed.enter_context(away(postgres_server, url))
                    connection.exec_driver_sql(insert)

            with pytest.raises(StoreError) as told:
                cut_off_half_way()
            assert "\n" not in str(told.value)
            with pytest.raises(StoreError, match="Check that the database is there"):
                store_pack(store, new_pack())
        assert history(store) == before
        assert [line.name for line in record.list_teardowns(store)] == [TEARDOWN]
        store_pack(store, new_pack())
        assert len(history(store)[0]) == 2
        assert record.check_record(store).findings == ()
