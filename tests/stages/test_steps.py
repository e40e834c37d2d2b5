"""The record's schema: made step by step, each whole with its note or not at all, on both databases."""

from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

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


def test_each_step_leaves_a_note(store, empty_url):
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


def test_a_record_of_a_newer_program_is_left_alone(store, empty_url):
    with connect.writing(store) as connection:
        connection.exec_driver_sql(f"UPDATE {ALEMBIC_TABLE} SET version_num = '{NEWEST + 1}'")
    with pytest.raises(StoreError, match="written by a newer wearview") as told:
        record.open_store(empty_url)
    assert "Install the newer program" in str(told.value)


def test_another_programs_database_is_left_alone(empty_url):
    engine = sqlalchemy.create_engine(empty_url)
    with engine.begin() as connection:
        connection.exec_driver_sql(f"CREATE TABLE {ALEMBIC_TABLE} (version_num VARCHAR(32) NOT NULL)")
        connection.exec_driver_sql(f"INSERT INTO {ALEMBIC_TABLE} VALUES ('ae1027a6acf')")
    engine.dispose()
    with pytest.raises(StoreError, match="another program's database"):
        record.open_store(empty_url)


def test_opening_again_takes_no_step_twice(store, empty_url):
    record.new_teardown(store, "Job 7")
    again = record.open_store(empty_url)
    assert [line.name for line in record.list_teardowns(again)] == ["Job 7"]
    assert len(rows(empty_url, "SELECT * FROM schema_step")) == NEWEST


def test_a_record_from_before_alembic_is_taken_as_it_stands(store, empty_url):
    record.new_teardown(store, "Job 7")
    with connect.writing(store) as connection:
        connection.exec_driver_sql(f"DROP TABLE {ALEMBIC_TABLE}")
    with connect.writing(store) as connection:
        assert version_of(connection) == NEWEST
        take_steps(connection)
    assert rows(empty_url, f"SELECT version_num FROM {ALEMBIC_TABLE}") == [(str(NEWEST),)]
    assert len(rows(empty_url, "SELECT * FROM schema_step")) == NEWEST
    assert [line.name for line in record.list_teardowns(record.open_store(empty_url))] == ["Job 7"]


def test_two_programs_that_open_a_new_record_at_once_make_it_once(empty_url):
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(record.open_store, [empty_url] * 4))
    assert len(rows(empty_url, "SELECT * FROM schema_step")) == NEWEST
