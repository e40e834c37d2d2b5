"""The record's schema: made step by step, each whole with its note or not at all, on both databases."""

from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from tests.databases import url_of
from tests.documents import sha256
from wearview import store as record
from wearview.errors import StoreError
from wearview.store import connect
from wearview.store.steps import ALEMBIC_TABLE, NEWEST, take_steps, version_of
from wearview.store.tables import metadata


def rows(url, query):
    engine = sqlalchemy.create_engine(url)
    with engine.connect() as connection:
        found = connection.exec_driver_sql(query).all()
    engine.dispose()
    return found


def test_the_steps_are_numbered_and_end_at_the_newest():
    config = Config()
    config.set_main_option("path_separator", "os")
    config.set_main_option("script_location", "wearview/store/migrations")
    steps = list(ScriptDirectory.from_config(config).walk_revisions())
    assert [step.revision for step in reversed(steps)] == [str(n) for n in range(1, NEWEST + 1)]


def test_the_steps_make_exactly_the_tables_that_the_program_reads(store):
    with store.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        found = compare_metadata(context, metadata)
    assert found == []


def test_each_step_leaves_a_note(empty_url):
    record.open_store(empty_url)
    assert [row[0] for row in rows(empty_url, "SELECT version FROM schema_step ORDER BY version")] == list(
        range(1, NEWEST + 1)
    )
    assert rows(empty_url, f"SELECT version_num FROM {ALEMBIC_TABLE}") == [(str(NEWEST),)]


def test_a_step_that_fails_leaves_neither_table_nor_note(empty_url):
    engine = sqlalchemy.create_engine(empty_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("CREATE TABLE verdict_seen (id INTEGER)")
        # The last table of the first step meets a stranger's index of its name.
        connection.exec_driver_sql("CREATE INDEX ix_verdict_element_id ON verdict_seen (id)")
    engine.dispose()
    with pytest.raises(StoreError, match="already exists"):
        record.open_store(empty_url)
    engine = sqlalchemy.create_engine(empty_url)
    with engine.connect() as connection:
        assert sqlalchemy.inspect(connection).get_table_names() == ["verdict_seen"]
        assert version_of(connection) == 0
    engine.dispose()


def test_a_record_of_a_newer_program_is_left_alone(store):
    url = url_of(store)
    with connect.writing(store) as connection:
        connection.exec_driver_sql(f"UPDATE {ALEMBIC_TABLE} SET version_num = '{NEWEST + 1}'")
    with pytest.raises(StoreError, match="written by a newer wearview") as told:
        record.open_store(url)
    assert "Install the newer program" in str(told.value)


def test_another_programs_database_is_left_alone(empty_url):
    engine = sqlalchemy.create_engine(empty_url)
    with engine.begin() as connection:
        connection.exec_driver_sql(f"CREATE TABLE {ALEMBIC_TABLE} (version_num VARCHAR(32) NOT NULL)")
        connection.exec_driver_sql(f"INSERT INTO {ALEMBIC_TABLE} VALUES ('ae1027a6acf')")
    engine.dispose()
    with pytest.raises(StoreError, match="another program's database"):
        record.open_store(empty_url)


def test_opening_again_takes_no_step_twice(store):
    url = url_of(store)
    record.new_teardown(store, "Job 7")
    again = record.open_store(url)
    assert [line.name for line in record.list_teardowns(again)] == ["Job 7"]
    assert len(rows(url, "SELECT * FROM schema_step")) == NEWEST


DOCUMENT = '{"photos": []}'
HASH = sha256(DOCUMENT.encode())
WHEN = "2026-01-02T03:04:05+00:00"
OLD_ROWS = f"""
INSERT INTO teardown VALUES (1, 'Job 7', 'four-speed', 'S-1 a', 'make it fresh', '{WHEN}');
INSERT INTO teardown VALUES (2, 'Job 8', NULL, NULL, NULL, '{WHEN}');
INSERT INTO customer VALUES (1, 'blue van');
INSERT INTO customer VALUES (2, 'blue van');
INSERT INTO element VALUES (1, 1, 1, 'Forward', 'clean', '{WHEN}');
INSERT INTO element VALUES (2, 1, 2, 'Reverse', NULL, '{WHEN}');
INSERT INTO photo VALUES ('{"c" * 64}', 10, '{WHEN}');
INSERT INTO grading VALUES (1, 1, '{DOCUMENT}', '{HASH}', '0.1.0', 'rules-1', 'ab', '{WHEN}');
INSERT INTO graded_photo VALUES (1, '{"c" * 64}', NULL);
INSERT INTO verdict VALUES (1, 1, 'abc-1', '1', 'reuse', 0, 'wear', 'Kim', 'well', '{WHEN}');
"""


@pytest.fixture
def old_url(empty_url):
    """A record of version 1, from before alembic kept count, with two jobs of one customer."""
    engine = sqlalchemy.create_engine(empty_url)
    with engine.begin() as connection:
        take_steps(connection, to=1)
        connection.exec_driver_sql(f"DROP TABLE {ALEMBIC_TABLE}")
        for statement in OLD_ROWS.strip().splitlines():
            connection.exec_driver_sql(statement)
    engine.dispose()
    return empty_url


def test_an_older_record_says_in_the_new_form_what_it_said_in_the_old(old_url):
    store = record.open_store(old_url)
    teardown = record.get_teardown(store, "Job 7")
    assert (teardown.unit, teardown.serial, teardown.customer, teardown.wish) == (
        "four-speed",
        "S-1 a",
        "blue van",
        "make it fresh",
    )
    assert not teardown.blind
    assert not teardown.closed
    assert [(e.name, e.expectation, len(e.verdicts)) for e in teardown.elements] == [
        ("Forward", "clean", 1),
        ("Reverse", None, 0),
    ]
    [verdict] = teardown.elements[0].verdicts
    assert (verdict.decision, verdict.heat, verdict.by, verdict.blind) == ("reuse", 0, "Kim", None)
    [customer] = record.list_customers(store)
    assert customer.teardowns == ("Job 7", "Job 8")
    assert [line.name for line in record.find_teardowns(store, serial="s1a")] == ["Job 7"]
    [finding] = record.check_record(store).findings
    assert finding.problem == "this kept photo is missing"  # it never was there: all rows have their seals
    assert rows(old_url, f"SELECT version_num FROM {ALEMBIC_TABLE}") == [(str(NEWEST),)]
    taken = [row[0] for row in rows(old_url, "SELECT version FROM schema_step ORDER BY version")]
    assert taken == list(range(1, NEWEST + 1))


@pytest.mark.parametrize("empty_url", ["sqlite"], indirect=True)
def test_a_sqlite_record_is_copied_before_it_is_brought_up_to_date(old_url, tmp_path):
    record.open_store(old_url)
    [copy] = tmp_path.glob("record-version-1-*.sqlite")
    before = f"sqlite:///{copy}"
    assert rows(before, "SELECT reference FROM customer") == [("blue van",)] * 2
    assert rows(before, "PRAGMA integrity_check") == [("ok",)]
    with pytest.raises(sqlalchemy.exc.OperationalError, match="no such table"):
        rows(before, "SELECT * FROM seal")
    record.open_store(old_url)
    assert len(list(tmp_path.glob("record-version-*.sqlite"))) == 1


def test_an_older_record_stays_as_it_was_when_a_step_fails(old_url):
    engine = sqlalchemy.create_engine(old_url)
    with engine.begin() as connection:
        # The second step's last index meets another one of its name.
        connection.exec_driver_sql("CREATE INDEX ix_teardown_opened_at ON element (added_at)")
    before = rows(old_url, "SELECT * FROM teardown ORDER BY id"), rows(old_url, "SELECT * FROM customer")
    with pytest.raises(StoreError, match="already exists"):
        record.open_store(old_url)
    with engine.connect() as connection:
        assert version_of(connection) == 1
        assert "seal" not in sqlalchemy.inspect(connection).get_table_names()
    engine.dispose()
    after = rows(old_url, "SELECT * FROM teardown ORDER BY id"), rows(old_url, "SELECT * FROM customer")
    assert after == before


def test_two_programs_that_open_a_new_record_at_once_make_it_once(empty_url):
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(record.open_store, [empty_url] * 4))
    assert len(rows(empty_url, "SELECT * FROM schema_step")) == NEWEST
