"""The shop's checklist, findings and measured values in the record, on both databases."""

import pytest

from tests import documents
from tests.databases import copy_as_of_step
from wearview import store as record
from wearview.errors import CallError
from wearview.record import check_lines, counted


@pytest.fixture
def job(store):
    record.new_teardown(store, "Job 7", unit="Four-Speed")
    return store


def lines(store, name="Job 7"):
    teardown = record.get_teardown(store, name)
    return check_lines(teardown.checklist, teardown.inspections)


def test_done_left_out_and_not_done_are_told_apart(job):
    record.set_checklist(job, ["pump pocket", "servo bores", "thrust washers", "bushings"])
    record.add_inspection(job, "Job 7", "thrust washers", "nothing-found")
    record.add_inspection(job, "Job 7", "Servo bores", "not-looked-at", note="customer declined")
    record.add_inspection(job, "Job 7", "pump pocket", "found", note="scored")
    record.add_inspection(job, "Job 7", "drum", "found", note="grooved")
    found = lines(job)
    assert [(line.item, line.state) for line in found] == [
        ("pump pocket", "found"),
        ("servo bores", "not-looked-at"),
        ("thrust washers", "nothing-found"),
        ("bushings", "not-done"),
        ("drum", "found"),
    ]
    assert [line.listed for line in found] == [True] * 4 + [False]
    assert counted(found) == "2 of 4 looked at, 1 left out, 1 not done"


def test_a_checklist_is_found_by_the_type_of_unit_else_the_one_for_any(job):
    assert record.get_teardown(job, "Job 7").checklist == ()
    record.set_checklist(job, ["leaks"])
    assert record.get_teardown(job, "Job 7").checklist == ("leaks",)
    record.set_checklist(job, ["pump"], " four-speed ")
    assert record.get_teardown(job, "Job 7").checklist == ("pump",)
    record.set_checklist(job, ["pump", "servo"], "FOUR-SPEED")
    assert record.checklists(job) == {"": ("leaks",), "FOUR-SPEED": ("pump", "servo")}
    assert record.checklist_of(job, "six-speed") == ("leaks",)
    record.set_checklist(job, [], "four-speed")
    assert record.get_teardown(job, "Job 7").checklist == ("leaks",)


def test_an_item_named_twice_is_refused(job):
    with pytest.raises(CallError, match="given twice"):
        record.set_checklist(job, ["pump", "Pump"])


def test_photos_of_a_finding_are_kept_by_their_hash(job):
    photo = documents.jpeg(40)
    photos = {"a.jpg": photo, "b.jpg": documents.jpeg(60), "again.jpg": photo}
    record.add_inspection(job, "Job 7", "pump", "found", photos=photos)
    [said] = record.get_teardown(job, "Job 7").inspections
    assert [attached.file for attached in said.photos] == ["a.jpg", "b.jpg"]
    for attached in said.photos:
        assert record.photo_bytes(job, attached.sha256) == photos[attached.file]
    assert record.check_record(job).findings == ()


def test_a_finding_says_what_was_found(job):
    with pytest.raises(CallError, match="does not say what was found"):
        record.add_inspection(job, "Job 7", "pump", "found")
    with pytest.raises(CallError, match="is no outcome"):
        record.add_inspection(job, "Job 7", "pump", "fine")


def test_what_is_said_anew_holds_and_the_record_keeps_what_was_said(job):
    record.add_inspection(job, "Job 7", "pump", "found", note="scored")
    record.add_inspection(job, "Job 7", "Pump", "nothing-found", note="only dirt")
    [said] = record.get_teardown(job, "Job 7").inspections
    assert (said.outcome, said.note) == ("nothing-found", "only dirt")
    record.take_back_inspection(job, "Job 7", " PUMP ")
    assert record.get_teardown(job, "Job 7").inspections == ()
    with pytest.raises(CallError, match="is no finding of this teardown"):
        record.take_back_inspection(job, "Job 7", "pump")
    with job.engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM inspection").scalar() == 3


def test_a_value_comes_back_as_it_was_typed_and_may_be_taken_back(job):
    given = record.add_measured(
        job,
        "Job 7",
        "tip gap",
        "1/128",
        "in",
        "feeler gauge",
        most="0.25 mm",
        limit_from="my notes",
        by="Kim",
    )
    assert record.get_teardown(job, "Job 7").measured == (given,)
    again = record.add_measured(job, "Job 7", "Tip gap", "0.2", "mm", "feeler gauge")
    assert record.get_teardown(job, "Job 7").measured == (again,)
    record.take_back_measured(job, "Job 7", "tip gap")
    assert record.get_teardown(job, "Job 7").measured == ()
    with pytest.raises(CallError, match="is no measured value"):
        record.take_back_measured(job, "Job 7", "tip gap")


def test_nothing_is_added_to_a_closed_teardown(job):
    record.close_teardown(job, "Job 7")
    for add in (
        lambda: record.add_inspection(job, "Job 7", "pump", "nothing-found"),
        lambda: record.add_measured(job, "Job 7", "gap", "1", "mm", "gauge"),
    ):
        with pytest.raises(CallError, match="is closed"):
            add()


def test_a_value_measured_before_values_had_photos_gets_one_when_measured_again(empty_url, tmp_path):
    today = record.open_store(f"sqlite:///{tmp_path}/today/record.sqlite")
    record.new_teardown(today, "Job 7")
    record.add_measured(today, "Job 7", "tip gap", "0.004", "in", "feeler gauge")
    copy_as_of_step(5, today, empty_url)
    opened = record.open_store(empty_url)
    [before] = record.get_teardown(opened, "Job 7").measured
    assert before.photos == ()
    gauge = {"gauge.jpg": documents.jpeg(44), "again.jpg": documents.jpeg(44)}
    record.add_measured(opened, "Job 7", "Tip gap", "0.005", "in", "feeler gauge", photos=gauge)
    [now] = record.get_teardown(opened, "Job 7").measured
    assert [photo.file for photo in now.photos] == ["gauge.jpg"]  # the same photo is kept once
    assert record.photo_bytes(opened, now.photos[0].sha256) == documents.jpeg(44)
    assert record.check_record(opened).findings == ()
