"""`check_record` finds every row and photo that is missing or was altered, on both databases."""

import json

import pytest

from tests import documents
from wearview import library
from wearview import store as record
from wearview.library import CleanPhoto, CleanPlate
from wearview.store.guards import guard_names
from wearview.store.photos import photo_path
from wearview.store.tables import APPEND_ONLY, SEALED, metadata


@pytest.fixture
def kept(store):
    """A record with a row in every table."""
    document, photos = documents.hot_pack()
    record.new_teardown(store, "Job 7", serial="S1", customer_ref="blue van")
    files = [record.GradedPhoto(data, b"overlay of " + data[:9]) for data in photos.values()]
    record.add_grading(store, "Job 7", "Forward", document, files)
    record.add_verdict(store, "Job 7", "Forward", "1", "reuse", by="Kim")
    record.add_verdict(store, "Job 7", "Forward", "2", "replace", heat=1)
    record.state_duty(store, "Job 7", "Forward", {"expects": "clean", "plates": 3})
    record.set_shop_blind(store, False)
    documents.add_beside(store, "Job 7")
    record.keep_report(store, "Job 7", {"report.html": b"<p>as it was</p>"})
    return store


def force(store, statement):
    """Change the record as only somebody can who takes its guards away and puts them back."""
    with store.engine.begin() as connection:
        if store.engine.dialect.name == "postgresql":
            connection.exec_driver_sql("SET session_replication_role = replica")
            connection.exec_driver_sql(statement)
            return
        kept = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").all()
        for name, _ in kept:
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        connection.exec_driver_sql(statement)
        for _, sql in kept:
            connection.exec_driver_sql(sql)


def found(store):
    return [(finding.where, finding.problem) for finding in record.check_record(store).findings]


def test_a_whole_record_has_nothing_to_tell(kept):
    checked = record.check_record(kept)
    assert checked.findings == ()
    assert checked.files == 6  # two photos, the overlay of both, a finding's and a value's photo, a report
    with kept.engine.connect() as connection:
        rows = sum(len(connection.execute(table.select()).all()) for table in SEALED)
    assert checked.rows == rows


def test_a_seal_covers_every_table_that_may_not_change(kept):
    left = {table.name for table in APPEND_ONLY} - {table.name for table in SEALED}
    assert left == {"seal", "schema_step", "graded_part", "graded_lining"}  # from documents


@pytest.mark.parametrize(
    ("statement", "where", "problem"),
    [
        ("UPDATE verdict SET decision = 'replace' WHERE id = 1", "verdict [1]", "was altered"),
        ("UPDATE verdict SET given_by = NULL WHERE id = 1", "verdict [1]", "was altered"),
        ("UPDATE teardown_facts SET serial = 'S2'", "teardown_facts [1]", "was altered"),
        ("UPDATE element_duty SET plates = 4", "element_duty [1]", "was altered"),
        ("UPDATE checklist SET entries = '[]'", "checklist [1]", "was altered"),
        ("UPDATE inspection SET outcome = 'nothing-found'", "inspection [1]", "was altered"),
        ("DELETE FROM inspection_photo", "inspection_photo [1, ", "is missing"),
        ("DELETE FROM measured_photo", "measured_photo [1, ", "is missing"),
        ("UPDATE measured_value SET value = '0.03 in'", "measured_value [1]", "was altered"),
        ("UPDATE grading SET document = '{}'", "grading [1]", "its document was altered"),
        (
            "UPDATE graded_part SET level = 0 WHERE position = 3",
            "graded_part",
            "does not say what its document says",
        ),
        ("DELETE FROM graded_part WHERE position = 3", "graded_part", "does not say what its document says"),
        ("DELETE FROM verdict WHERE id = 1", "verdict [1]", "is missing"),
        ("DELETE FROM verdict WHERE id = 2", "verdict [2]", "is missing"),
        ("DELETE FROM seal WHERE id = 4", "seal", "numbers 4 to 4 are missing"),
        (
            "INSERT INTO verdict (id, element_id, target, decision, given_at) "
            "VALUES (9, 1, 'pack', 'reuse', '2026')",
            "verdict [9]",
            "was not added by this program",
        ),
    ],
)
def test_a_row_that_was_forced_is_found(kept, statement, where, problem):
    force(kept, statement)
    assert any(place.startswith(where) and told == problem for place, told in found(kept)), found(kept)


def test_a_document_altered_together_with_its_hash_is_found(kept):
    [(document,)] = rows(kept, "SELECT document FROM grading")
    text = json.dumps(json.loads(document.replace("burnt", "clean")))
    force(
        kept, f"UPDATE grading SET document = '{text}', document_sha256 = '{documents.sha256(text.encode())}'"
    )
    assert ("grading [1]", "was altered") in found(kept)


def rows(store, query):
    with store.engine.connect() as connection:
        return connection.exec_driver_sql(query).all()


def test_a_guard_that_was_taken_away_is_found(kept):
    name = guard_names(metadata.tables["verdict"], kept.engine.dialect.name)[0]
    on = " ON verdict" if kept.engine.dialect.name == "postgresql" else ""
    with kept.engine.begin() as connection:
        connection.exec_driver_sql(f"DROP TRIGGER {name}{on}")
    [(where, problem)] = found(kept)
    assert where == "verdict"
    assert name in problem


def test_a_photo_that_is_missing_or_altered_is_found(kept):
    first, second, *_ = [sha256 for (sha256,) in rows(kept, "SELECT sha256 FROM photo ORDER BY sha256")]
    photo_path(kept, first).unlink()
    photo_path(kept, second).write_bytes(b"spoilt")
    assert found(kept) == [
        (str(photo_path(kept, first)), "this kept photo is missing"),
        (str(photo_path(kept, second)), "this kept photo was altered"),
    ]


def test_a_photo_that_is_in_no_grading_is_counted_and_no_fault(kept):
    record.keep_file(kept, b"given, not graded so far")
    checked = record.check_record(kept)
    assert (checked.unnamed, checked.findings) == (1, ())


def test_correcting_and_erasing_a_customer_breaks_no_seal(kept):
    record.correct_customer(kept, "blue van", name="A. N. Other")
    record.erase_customer(kept, "blue van")
    assert found(kept) == []


def test_an_altered_lining_of_the_shops_library_is_named(kept, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    plate = CleanPlate((61.0, 8.0, 24.0), 3.0, 0.01)
    library.add("tan", [CleanPhoto("a.jpg", "0" * 64, None, "paper", 2.0, (plate,))], False)
    assert record.check_record(kept).findings == ()
    file = tmp_path / "wearview" / "linings" / "tan-1.toml"
    file.write_text(file.read_text().replace("61.0", "51.0"))
    assert record.check_record(kept).findings == (record.Finding("linings/tan-1.toml", "was altered"),)
