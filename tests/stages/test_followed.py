"""One lining over all units of a shop: where it is hot, after what mileage, and what may be said of it."""

from fractions import Fraction

import pytest

from tests import documents
from tests.databases import copy_as_of_step
from wearview import store as record
from wearview.cli.followed import followed_text
from wearview.errors import CallError
from wearview.record import LinedPlate, follow, parse_mileage, places_from_reaction_end
from wearview.report.words import lining_words, mileage_words, place_words

LINING = {"source": "library", "file": None, "lining": "tan-paper", "lab_median": [62.0, 9.5, 24.0]}


def pack(number, levels, lining="tan-paper", kinds=()):
    """A document of one photo, its parts in position order, compared with a lining of the library."""
    photo = documents.jpeg(number)
    kinds = kinds or ("friction plate",) * len(levels)
    parts = [
        documents.part(photo, n, n, level, kind, left=110 * n)
        for n, (level, kind) in enumerate(zip(levels, kinds, strict=True), 1)
    ]
    document = documents.document([documents.photo_entry(photo, f"{number}.jpg", parts)])
    return document | {"reference": LINING | {"lining": lining}}, photo


def keep(store, job, element, document, photo):
    record.add_grading(store, job, element, document, [record.GradedPhoto(photo)])


def plate(level, place=1, unit="u", pack="p", mileage=None):
    return LinedPlate(unit, pack, place, level, mileage and parse_mileage(mileage))


def test_places_count_friction_plates_from_the_reaction_end():
    parts = [("friction plate", 2), ("steel plate", 3), ("friction plate", 4), ("reaction plate", 5)]
    assert places_from_reaction_end([*parts, ("friction plate", 4)]) == {4: 1, 2: 2}
    assert [place_words(n) for n in (1, 2, 3, 4)] == ["nearest", "2nd", "3rd", "4th"]


def test_under_fifty_plates_no_share_is_told():
    few = follow("tan", [plate(n % 2) for n in range(49)])
    assert (few.whole.n, few.whole.hot, few.whole.share) == (49, 24, None)
    assert lining_words(few) is None
    assert "49 of 50" in followed_text(few)
    assert "%" not in followed_text(few)
    enough = follow("tan", [plate(n % 2) for n in range(50)])
    assert enough.whole.share == 0.5
    assert "hangs on single packs" in followed_text(enough)


def test_what_could_not_be_graded_is_in_no_share():
    found = follow("tan", [*(plate(1) for _ in range(60)), *(plate(None, pack="q") for _ in range(40))])
    assert (found.whole.share, found.whole.ungraded, found.whole.packs) == (1.0, 40, 1)


def test_mileages_fall_into_groups_of_fifty_thousand_kilometres_whatever_their_unit():
    found = follow("tan", [plate(1, mileage=typed) for typed in ("49999 km", "50000 km", "31069 mi")])
    # 31,069 mi are 50,000.7 km: 1.609344 km to the mile, exactly (NIST SP 811).
    assert {km: heat.n for km, heat in found.by_mileage.items()} == {0: 1, 50_000: 2}
    assert mileage_words(50_000) == "50,000 to 100,000 km (31,069 to 62,137 mi)"


def test_the_record_is_followed_over_units_regradings_and_reference_linings(store):
    for job, serial, mileage in (("A", "S 1", "84000 km"), ("B", "s-1", "60000 mi"), ("C", None, None)):
        record.new_teardown(store, job, serial=serial, mileage=mileage)
    keep(
        store, "A", "fwd", *pack(10, [0, None, 2], kinds=("friction plate", "steel plate", "friction plate"))
    )
    keep(store, "B", "fwd", *pack(20, [4, 4]))
    keep(store, "B", "fwd", *pack(20, [1, 3]))  # graded anew: the newest holds
    mixed, photo = pack(30, [2, 1], "red-paper")
    mixed["photos"][0]["parts"][1]["reference"] = LINING
    keep(store, "C", "fwd", mixed, photo)
    keep(store, "C", "band", *pack(40, [0], kinds=("band",)))
    assert record.lining_names(store) == ["red-paper", "tan-paper"]
    found = record.followed(store, "tan-paper")
    assert found.whole.levels == (2, 2, 1, 1, 0)
    assert (found.whole.packs, found.whole.units) == (4, 2)  # one serial number twice, however typed
    assert {place: heat.levels for place, heat in found.by_place.items()} == {
        1: (0, 1, 1, 1, 0),
        2: (1, 1, 0, 0, 0),
    }
    assert {km: heat.n for km, heat in found.by_mileage.items()} == {50_000: 4}
    assert found.without_mileage.n == 2
    assert record.check_record(store).findings == ()


def test_grades_that_are_hidden_so_far_are_left_out(store):
    record.new_teardown(store, "A", blind=True)
    keep(store, "A", "fwd", *pack(10, [3, 2, 1]))
    assert record.followed(store, "tan-paper").whole.n == 0
    record.add_verdict(store, "A", "fwd", "2", "replace")
    found = record.followed(store, "tan-paper")
    assert {place: heat.n for place, heat in found.by_place.items()} == {2: 1}
    record.add_verdict(store, "A", "fwd", "pack", "replace")
    assert record.followed(store, "tan-paper").whole.n == 3


def test_an_older_record_is_followed_when_it_is_opened(empty_url, tmp_path):
    today = record.open_store(f"sqlite:///{tmp_path}/today/record.sqlite")
    record.new_teardown(today, "A")
    keep(today, "A", "fwd", *pack(10, [3, 2, 1]))
    copy_as_of_step(4, today, empty_url)
    opened = record.open_store(empty_url)
    assert record.followed(opened, "tan-paper") == record.followed(today, "tan-paper")
    assert record.get_teardown(opened, "A").mileage is None
    record.change_teardown(opened, "A", mileage="52000 miles")
    assert str(record.get_teardown(opened, "A").mileage) == "52000 mi"
    altered = [found for found in record.check_record(opened).findings if "photo" not in found.problem]
    assert altered == []


def test_a_lining_that_was_altered_is_found(store):
    record.new_teardown(store, "A")
    keep(store, "A", "fwd", *pack(10, [3, 2]))
    with store.engine.begin() as connection:
        row = "INSERT INTO graded_lining VALUES (1, 'nobody', 'tan-paper')"
        connection.exec_driver_sql(row)
    assert record.check_record(store).findings == (
        record.Finding("graded_lining [1]", "does not say what its document says"),
    )


@pytest.mark.parametrize("typed", ["84000", "84,00 km", "84,0000 km", "-1 km", "1e5 km", "", "far"])
def test_what_is_no_mileage_is_refused(typed):
    with pytest.raises(CallError, match="is no mileage"):
        parse_mileage(typed)


def test_the_international_mile():
    # 5280 ft of 0.3048 m. NIST SP 811 (2008), appendix B.8: 1 mi = 1.609 344 E+03 m, exactly.
    assert parse_mileage("1 mi").km == Fraction(5280) * Fraction("0.3048") / 1000
    assert parse_mileage("52000 mi").both == "52000 mi (83685.888 km)"
    assert parse_mileage("160.934 km").both == "160.934 km (about 100 mi)"
    assert parse_mileage("1.609 km").miles < 1
    assert parse_mileage("341,500 km") == parse_mileage("341 500 km") == parse_mileage("341500 km")
    assert parse_mileage("1,060,000 mi").number == "1060000"
