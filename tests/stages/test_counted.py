"""Counts for agreement: kept up with every verdict and grading, made by a step for older records, mended."""

import numpy as np

from tests import documents
from tests.databases import copy_as_of_step
from wearview import store as record
from wearview.agreement import sums_of


def pack(number, levels):
    """A document of one photo with plates of these levels, and its bytes."""
    photo = documents.jpeg(number)
    parts = [documents.part(photo, n, n, level, left=110 * n) for n, level in enumerate(levels, 1)]
    return documents.document([documents.photo_entry(photo, f"{number}.jpg", parts)]), photo


def judge(store):
    """Packs graded and graded anew, verdicts given and given otherwise, some without a level or a name."""
    rng = np.random.default_rng(5)
    record.new_teardown(store, "Job 1")
    record.new_teardown(store, "Job 2", blind=True)
    for job in ("Job 1", "Job 2"):
        for number in range(2):
            document, photo = pack(10 * number + 7, rng.integers(0, 5, 4).tolist())
            record.add_grading(store, job, f"c{number}", document, [record.GradedPhoto(photo)])
            for position in (1, 1, 2, 3):
                heat = [None, *range(5)][rng.integers(6)]
                by = [None, "Ines", "Olu"][rng.integers(3)]
                record.add_verdict(store, job, f"c{number}", str(position), "replace", heat=heat, by=by)
            record.add_verdict(store, job, f"c{number}", "pack", "reuse", heat=4)
    # Without its third plate, and the first one level hotter.
    document, photo = pack(7, [4, 0])
    record.add_grading(store, "Job 1", "c0", document, [record.GradedPhoto(photo)])


def test_what_is_counted_is_what_the_record_comes_to(store):
    judge(store)
    parts = record.rated_parts(store)
    assert len(parts) == 11
    found = record.counted(store)
    assert found.sums == sums_of(parts)
    assert found.whole.n == sum(part.pair is not None for part in parts) > 5
    assert record.check_record(store).findings == ()
    distances = [part.distance for part in found.apart]
    assert distances == sorted((part.distance for part in parts if part.distance), reverse=True)[:12]
    assert set(found.apart) <= set(parts)


def test_equally_far_parts_come_newest_first_whatever_the_clock_said(store):
    document, photo = pack(3, [1, 1, 1])
    record.new_teardown(store, "Job 1")
    record.add_grading(store, "Job 1", "c", document, [record.GradedPhoto(photo)])
    for position, heat in (("2", 2), ("1", 3), ("3", 2)):
        record.add_verdict(store, "Job 1", "c", position, "unsure", heat=heat)
    assert [part.position for part in record.counted(store).apart] == ["1", "3", "2"]


def test_an_older_record_is_counted_when_it_is_opened(empty_url, tmp_path):
    today = record.open_store(f"sqlite:///{tmp_path}/today/record.sqlite")
    judge(today)
    copy_as_of_step(3, today, empty_url)
    opened, before = record.open_store(empty_url), record.counted(today)
    found = record.counted(opened)
    assert (found.sums, found.apart) == (before.sums, before.apart)
    assert found.whole.n
    record.add_verdict(opened, "Job 1", "c1", "4", "replace", heat=0)
    assert record.counted(opened).sums == sums_of(record.rated_parts(opened))


def test_counts_that_are_off_are_told_and_made_again(store):
    judge(store)
    before = record.counted(store)
    for statement in (
        "UPDATE agreement_sum SET sums = '[0, 0, 0, 0, 0, 1]' WHERE grouping = 'decision'",
        "DELETE FROM agreement_sum WHERE grouping = 'all'",
        "DELETE FROM apart",
    ):
        with store.engine.begin() as connection:
            connection.exec_driver_sql(statement)
        [found] = record.check_record(store).findings
        assert found.where == "counts of agreement"
        assert "made again" in found.problem
        after = record.counted(store)
        assert (after.sums, after.apart) == (before.sums, before.apart)
