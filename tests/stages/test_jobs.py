"""Teardowns, elements with their duty, and customers in the record, on both databases."""

import datetime

import pytest

from tests import documents
from wearview import store as record
from wearview.errors import CallError, OutputError, StoreError
from wearview.record import HIDDEN, Duty, part_lines

TODAY = datetime.datetime.now(datetime.UTC).date().isoformat()


def add_pack(store, teardown, element="Forward"):
    document, photos = documents.hot_pack()
    files = [record.GradedPhoto(data, b"overlay of " + data[:9]) for data in photos.values()]
    return record.add_grading(store, teardown, element, document, files)


@pytest.fixture
def shop(store):
    """Three jobs: two on one unit, the other for the same customer."""
    record.new_teardown(store, "Job 1", unit="Four-speed Ä", serial="S-1 a", customer_ref="blue van")
    record.new_teardown(store, "Job 2", unit="six-speed", serial="77", customer_ref="blue van")
    record.new_teardown(store, "Job 3", unit="four-speed ä", serial="s1A", customer_ref="100% hire")
    return store


def names(lines):
    return [line.name for line in lines]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, ["Job 3", "Job 2", "Job 1"]),
        ({"text": "VAN"}, ["Job 2", "Job 1"]),
        ({"text": "job 2"}, ["Job 2"]),
        ({"text": "0%"}, ["Job 3"]),
        ({"text": "_"}, []),
        ({"unit": "FOUR-SPEED ä"}, ["Job 3", "Job 1"]),
        ({"serial": "s 1"}, ["Job 3", "Job 1"]),
        ({"serial": "S1A", "customer_ref": "van"}, ["Job 1"]),
        ({"opened": TODAY[:4]}, ["Job 3", "Job 2", "Job 1"]),
        ({"opened": TODAY, "serial": "77"}, ["Job 2"]),
        ({"opened": "1999-12"}, []),
    ],
)
def test_teardowns_are_found_by_what_is_known_of_them(shop, asked, found):
    assert names(record.find_teardowns(shop, **asked)) == found


@pytest.mark.parametrize("text", ["yesterday", "2026-13", "2026-3", "20"])
def test_a_date_that_is_none_is_refused(shop, text):
    with pytest.raises(CallError, match="is no date"):
        record.find_teardowns(shop, opened=text)


def test_facts_are_restated_and_the_rest_stays(shop):
    record.change_teardown(shop, "Job 2", serial="S1-A", wish="make it fresh", customer_ref="red van")
    teardown = record.get_teardown(shop, "Job 2")
    assert (teardown.unit, teardown.serial, teardown.wish) == ("six-speed", "S1-A", "make it fresh")
    assert teardown.customer == "red van"
    assert names(record.find_teardowns(shop, serial="77")) == []
    assert names(record.find_teardowns(shop, customer_ref="blue")) == ["Job 1"]
    record.change_teardown(shop, "Job 2", wish="", customer_ref="")
    teardown = record.get_teardown(shop, "Job 2")
    assert (teardown.wish, teardown.customer, teardown.customer_id) == (None, None, None)
    record.change_teardown(shop, "Job 2", customer_ref=" red van ")
    assert record.get_customer(shop, "red van").teardowns == ("Job 2",)


def test_the_same_serial_shows_its_earlier_teardowns_newest_first(shop):
    record.change_teardown(shop, "Job 2", serial="S 1A")
    assert names(record.earlier_teardowns(shop, "Job 3")) == ["Job 2", "Job 1"]
    assert names(record.earlier_teardowns(shop, "Job 1")) == []
    record.new_teardown(shop, "Job 4")
    record.new_teardown(shop, "Job 5")
    assert names(record.earlier_teardowns(shop, "Job 5")) == []


def test_nothing_is_added_to_a_closed_teardown_until_it_is_reopened(shop):
    add_pack(shop, "Job 1")
    record.close_teardown(shop, "Job 1")
    assert record.get_teardown(shop, "Job 1").closed
    for call in (
        lambda: add_pack(shop, "Job 1"),
        lambda: record.add_verdict(shop, "Job 1", "Forward", "1", "reuse"),
        lambda: record.state_duty(shop, "Job 1", "Forward", {"plates": 3}),
        lambda: record.add_element(shop, "Job 1", "Reverse"),
        lambda: record.copy_elements(shop, "Job 1", "Job 2"),
    ):
        with pytest.raises(CallError, match="Open it again with: wearview teardown reopen"):
            call()
    record.reopen_teardown(shop, "Job 1")
    record.add_verdict(shop, "Job 1", "Forward", "1", "reuse")
    with pytest.raises(CallError, match="is open already"):
        record.reopen_teardown(shop, "Job 1")


def test_a_duty_is_restated_field_by_field(shop):
    record.state_duty(shop, "Job 1", "Forward", {"expects": "clean", "plates": 9})
    stated = record.state_duty(shop, "Job 1", "Forward", {"plates": 10, "direction": "rearward"})
    assert stated == Duty(direction="rearward", plates=10, expects="clean")
    assert record.state_duty(shop, "Job 1", "Forward", {"expects": ""}).expects is None
    [element] = record.get_teardown(shop, "Job 1").elements
    assert element.duty == Duty(direction="rearward", plates=10)
    with pytest.raises(CallError, match="is no expectation"):
        record.state_duty(shop, "Job 1", "Forward", {"expects": "burnt"})


def test_a_new_teardown_takes_the_elements_of_another(shop):
    record.state_duty(shop, "Job 1", "Forward", {"expects": "clean"})
    record.state_duty(shop, "Job 1", "Low band", {"expects": "seldom"})
    add_pack(shop, "Job 3")
    assert record.copy_elements(shop, "Job 3", "Job 1") == ["Low band"]
    elements = record.get_teardown(shop, "Job 3").elements
    assert [(e.name, e.duty.expects, len(e.gradings)) for e in elements] == [
        ("Forward", None, 1),
        ("Low band", "seldom", 0),
    ]


def test_a_customers_data_are_corrected(shop):
    record.correct_customer(shop, "blue van", name="A. N. Other", phone="555 0100", plate="AB 1")
    kept = record.correct_customer(shop, "blue van", new_reference="green van", phone="")
    assert (kept.reference, kept.name, kept.phone, kept.plate) == ("green van", "A. N. Other", None, "AB 1")
    assert kept.teardowns == ("Job 1", "Job 2")
    assert names(record.find_teardowns(shop, customer_ref="ab 1")) == ["Job 2", "Job 1"]
    with pytest.raises(CallError, match="another customer's reference"):
        record.correct_customer(shop, "green van", new_reference="100% hire")
    with pytest.raises(CallError, match="is no reference of a customer"):
        record.get_customer(shop, "blue van")


def test_an_erased_customer_leaves_gradings_and_verdicts(shop):
    add_pack(shop, "Job 1")
    record.add_verdict(shop, "Job 1", "Forward", "1", "reuse", by="Kim")
    before = record.get_teardown(shop, "Job 1")
    record.erase_customer(shop, "blue van")
    after = record.get_teardown(shop, "Job 1")
    assert (after.customer, after.customer_id) == (None, before.customer_id)
    assert before.customer_id not in (None, "blue van")
    assert after.elements[0].verdicts == before.elements[0].verdicts
    assert after.elements[0].latest.document == before.elements[0].latest.document
    assert [c.reference for c in record.list_customers(shop)] == ["100% hire"]


def test_nothing_of_an_erased_customer_is_left_in_the_files_of_a_sqlite_record(tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    store = record.open_store(url)
    record.new_teardown(store, "Job 1", customer_ref="reference-of-theirs")
    record.correct_customer(store, "reference-of-theirs", name="Nora-Wrong", phone="555-0100-77")
    record.correct_customer(store, "reference-of-theirs", name="Nora-Right")
    assert b"Nora-Right" in bytes_of(tmp_path)
    assert b"Nora-Wrong" not in bytes_of(tmp_path)
    record.erase_customer(store, "reference-of-theirs")
    for word in (b"Nora", b"555-0100-77", b"reference-of-theirs"):
        assert word not in bytes_of(tmp_path)


def bytes_of(folder):
    return b"".join(path.read_bytes() for path in folder.glob("record.sqlite*"))


def test_in_a_blind_teardown_a_grade_is_hidden_until_its_verdict_is_in(shop):
    record.set_shop_blind(shop, True)
    record.new_teardown(shop, "Job 9")
    stored = add_pack(shop, "Job 9")
    assert [part["grade"]["level"] for photo in stored["photos"] for part in photo["parts"]] == [0, 1, 3]

    [element] = record.get_teardown(shop, "Job 9").elements
    assert [line.level for line in part_lines(element)] == [None, None, None]
    assert all(HIDDEN in line.part["problems"] for line in part_lines(element))
    assert element.latest.document["pack"] is None
    assert element.latest.overlays == {}

    [first] = record.add_verdict(shop, "Job 9", "Forward", "3", "replace", heat=2)
    [second] = record.add_verdict(shop, "Job 9", "Forward", "3", "reuse", heat=3)
    assert (first.blind, second.blind) == (True, False)
    [element] = record.get_teardown(shop, "Job 9").elements
    assert [line.level for line in part_lines(element)] == [None, None, 3]
    assert len(element.latest.overlays) == 1  # the photo with position 3 alone
    [element] = record.get_whole_teardown(shop, "Job 9").elements
    assert [line.level for line in part_lines(element)] == [0, 1, 3]

    [of_pack] = record.add_verdict(shop, "Job 9", "Forward", "pack", "replace")
    assert of_pack.blind is False  # one grade had been seen
    [element] = record.get_teardown(shop, "Job 9").elements
    assert [line.level for line in part_lines(element)] == [0, 1, 3]
    assert element.latest.document["pack"] is not None


def test_a_teardown_is_judged_as_the_shop_has_settled_unless_it_says_otherwise(shop):
    assert not record.shop_is_blind(shop)
    record.set_shop_blind(shop, True)
    record.new_teardown(shop, "Job 8")
    record.new_teardown(shop, "Job 9", blind=False)
    blind = {name: record.get_teardown(shop, name).blind for name in ("Job 1", "Job 8", "Job 9")}
    assert blind == {"Job 1": False, "Job 8": True, "Job 9": False}
    add_pack(shop, "Job 9")
    [given] = record.add_verdict(shop, "Job 9", "Forward", "1", "reuse")
    assert given.blind is False
    record.change_teardown(shop, "Job 8", blind=False)
    assert not record.get_teardown(shop, "Job 8").blind


def test_the_same_report_handed_over_twice_is_one_handover(shop, tmp_path):
    page = tmp_path / "report.html"
    page.write_bytes(b"<p>one</p>")
    first = record.hand_over(shop, "Job 1", [page])
    assert record.hand_over(shop, "Job 1", [page]) == first
    page.write_bytes(b"<p>two</p>")
    assert record.hand_over(shop, "Job 1", [page]) != first
    assert len(record.handovers(shop, "Job 1")) == 2
    with pytest.raises(OutputError, match="cannot be read again"):
        record.hand_over(shop, "Job 1", [tmp_path / "gone.pdf"])


def test_a_report_handed_over_is_kept_as_it_was(shop):
    record.keep_report(shop, "Job 1", {"report.html": b"<p>one</p>", "parts.csv": b"a"})
    record.keep_report(shop, "Job 1", {"report.html": b"<p>two</p>"})
    first, second = record.handovers(shop, "Job 1")
    assert list(first.files) == ["parts.csv", "report.html"]
    assert record.photo_bytes(shop, first.files["report.html"]) == b"<p>one</p>"
    assert record.photo_bytes(shop, second.files["report.html"]) == b"<p>two</p>"
    assert first.handed_at < second.handed_at
    assert record.handovers(shop, "Job 2") == []
    with pytest.raises(CallError, match="no file"):
        record.keep_report(shop, "Job 1", {})


def test_an_erasure_that_another_reader_holds_up_is_told_and_not_claimed(tmp_path, monkeypatch):
    monkeypatch.setattr("wearview.store.engine.WAIT_S", 0.1)
    store = record.open_store(f"sqlite:///{tmp_path}/record.sqlite")
    record.new_teardown(store, "Job 1", customer_ref="blue van")
    with store.engine.connect() as reader:
        reader.exec_driver_sql("SELECT * FROM customer").all()
        with pytest.raises(StoreError, match="another program reads"):
            record.erase_customer(store, "blue van")
    assert record.list_customers(store) == []
