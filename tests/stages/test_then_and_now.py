"""A unit that comes back: what was new then, how each plate and the pack as a whole changed."""

from dataclasses import replace

import pytest

from tests import documents
from tests.stages.test_record_views import element, given, pack, part_id, teardown
from tests.stages.test_report import page
from tests.stages.test_report_pdf import letters, pages
from wearview.record import (
    KEPT,
    RENEWED,
    UNTOLD,
    Grading,
    Known,
    LinedPlate,
    compare,
    follow,
    parse_mileage,
)
from wearview.report import write_report
from wearview.report.words import change_words, comparison_words

THEN = pack([0, 3, 2, 1])


def compared(then, now, **earlier):
    [pair] = compare(teardown(then, name="spring", **earlier), teardown(now))
    return pair


def fates(*verdicts, **duty):
    return [row.fate for row in compared(element(THEN, *verdicts, **duty), element(pack([0] * 4))).rows]


def on(decision, position, second=1):
    return given(decision, str(position), part_id(THEN, position), second)


def test_a_plate_is_new_where_the_verdict_of_then_replaced_it():
    assert fates(on("replace", 2), on("reuse", 1), on("unsure", 3)) == [KEPT, RENEWED, UNTOLD, UNTOLD]
    assert fates(on("replace", 2), on("resurface", 2, 2)) == [UNTOLD, KEPT, UNTOLD, UNTOLD]


def test_a_pack_renewed_whole_is_new_but_for_a_plate_kept_since():
    assert fates(given("replace")) == [RENEWED] * 4
    assert fates(given("replace", second=1), on("reuse", 4, 2)) == [RENEWED, RENEWED, RENEWED, KEPT]
    assert fates(given("leave")) == [KEPT] * 4


def test_a_place_that_no_photo_showed_then_is_new_only_with_the_whole_pack():
    now = element(pack([0] * 5))
    assert compared(element(THEN, given("replace"), plates=5), now).rows[4].fate == RENEWED
    assert compared(element(THEN, on("replace", 2)), now).rows[4].fate == UNTOLD


def test_the_change_is_in_levels_plate_by_plate_and_as_a_whole():
    pair = compared(element(THEN), element(pack([1, 0, 2, None, 4])))
    assert [row.change for row in pair.rows] == [1, -3, 0, None, None]
    assert [change_words(row) for row in pair.rows[:3]] == [
        "1 level higher",
        "3 levels lower",
        "level as it was",
    ]
    then, now = pair.profiles
    assert (then.graded, then.hot, then.worst, then.worst_at) == (4, 3, 3, "2")
    assert (now.graded, now.hot, now.worst, now.worst_at) == (4, 3, 4, "5")
    said = comparison_words(pair, teardown())
    assert "Of 3 positions graded both times 1 shows a higher level, 1 a lower one, 1 the same." in said


def test_levels_that_cannot_be_set_against_each_other_give_no_change():
    steel = compared(element(THEN), element(pack([0] * 4, kinds=["steel plate"] * 4)))
    assert steel.changes == ()
    assert change_words(steel.rows[0]) == "friction plate then, steel plate now"
    photo = documents.jpeg(91)
    cleanest = documents.part(photo, 1, 1, 3, relative=True)
    relative = Grading(documents.document([documents.photo_entry(photo, "b.jpg", [cleanest])]), "", "", {})
    assert compared(element(THEN), element(relative)).changes == ()


def test_other_rules_and_the_distance_run_are_told():
    now = pack([0] * 4)
    now.document["rules"]["id"] = "rules-2"
    pair = compared(element(THEN, on("replace", 2)), element(now), mileage=parse_mileage("50000 mi"))
    said = " ".join(comparison_words(pair, teardown(mileage=parse_mileage("100000 km"))))
    assert "different rules" in said
    assert "By the verdicts of then this was replaced: friction plate 2." in said
    assert "Run since: 19,533 km (12,137 mi)." in said  # 100,000 km less 50,000 mi of 1.609344 km
    # A new instrument shows less than the old one did: nothing is said of it.
    assert "Run since" not in " ".join(comparison_words(pair, teardown(mileage=parse_mileage("9 km"))))


@pytest.fixture
def job():
    document, photos = documents.hot_pack()
    now = element(Grading(document, "0" * 64, "2026-09-01T10:00:00+00:00", {}))
    return replace(teardown(now), mileage=parse_mileage("84000 km")), photos


def test_the_report_shows_it_on_screen_and_on_paper(job, tmp_path):
    now, photos = job
    earlier = teardown(element(THEN, on("replace", 2), on("leave", 1)), name="spring")
    tan = follow("tan-paper", [LinedPlate(f"u{n}", f"p{n}", 1, n % 2, None) for n in range(60)])
    now.elements[0].latest.document["reference"]["lining"] = "tan-paper"
    write_report(now, photos.__getitem__, tmp_path, known=Known((earlier,), {"tan-paper": tan}))
    html, paper = " ".join(page(tmp_path).text.split()), " ".join(pages(tmp_path)[1])
    for said in (
        "Then and now",
        "spring, opened 2026-03-05",
        "new since then; 2 levels lower",
        "left in then; level as it was",
        "this was replaced: friction plate 2.",
        "84000 km (about 52195 mi)",
        "heat showed on 30 of 60 graded plates, 60 packs of 60 units.",
    ):
        assert letters(said) in letters(html), said
        assert letters(said) in letters(paper), said


def test_without_an_earlier_teardown_there_is_no_word_of_it(job, tmp_path):
    now, photos = job
    write_report(now, photos.__getitem__, tmp_path, known=Known())
    assert "Then and now" not in page(tmp_path).text
