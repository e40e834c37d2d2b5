"""The tray: photos on disk before anything else, and what a person said of them."""

import json
import multiprocessing

import pytest

from wearview import store as record
from wearview.ui import tray
from wearview.ui.again import Again
from wearview.ui.said import Said
from wearview.ui.tray import ElementName, Layout

NAME = ElementName("Job 7", "Forward")
RIM = ((100.0, 0.0), (0.0, 100.0), (-100.0, 0.0), (0.0, -100.0))
HOLE = tuple((x / 2, y / 2) for x, y in RIM)


@pytest.fixture
def store(tmp_path):
    return record.open_store(f"sqlite:///{tmp_path}/record.sqlite")


def names(store):
    return [photo.name for photo in tray.read_tray(store, NAME).photos]


def test_photos_lie_by_name_by_time_or_as_they_came(store):
    for name, taken in (
        ("b10.jpg", "2026-01-01T10:00:00"),
        ("b2.jpg", "2026-01-01T12:00:00"),
        ("a.jpg", None),
    ):
        photo = tray.add_photo(store, NAME, name, name.encode())
        if taken:
            tray.note_taken(store, NAME, photo.sha256, taken)
    assert names(store) == ["a.jpg", "b2.jpg", "b10.jpg"]
    tray.lay_out(store, NAME, Layout(order=tray.BY_TIME))
    assert names(store) == ["b10.jpg", "b2.jpg", "a.jpg"]
    tray.lay_out(store, NAME, Layout(order=tray.AS_GIVEN))
    assert names(store) == ["b10.jpg", "b2.jpg", "a.jpg"]


def test_a_photo_left_out_can_be_given_again(store):
    photo = tray.add_photo(store, NAME, "a.jpg", b"a")
    tray.leave_out(store, NAME, photo.sha256)
    assert names(store) == []
    tray.add_photo(store, NAME, "a.jpg", b"a")
    assert names(store) == ["a.jpg"]


def test_what_was_stated_of_parts_is_forgotten_when_photos_change_and_kept_else(store):
    tray.add_photo(store, NAME, "a.jpg", b"a")
    tray.lay_out(store, NAME, Layout(positions=(3,)))
    assert tray.read_tray(store, NAME).layout.positions == (3,)
    tray.add_photo(store, NAME, "b.jpg", b"b")
    assert tray.read_tray(store, NAME).layout.positions is None


def test_photos_of_the_same_parts_are_remembered_and_a_retake_takes_its_place_among_them(store):
    a, _, c = (tray.add_photo(store, NAME, f"{n}.jpg", n.encode()) for n in "abc")
    tray.say_again(store, NAME, {c.sha256: Again(a.sha256)})
    assert names(store) == ["a.jpg", "c.jpg", "b.jpg"]
    before = tray.read_tray(store, NAME)
    tray.replace_photo(store, NAME, a.sha256, "d.jpg", b"d")
    assert names(store) == ["d.jpg", "c.jpg", "b.jpg"]
    assert [one.parts for one in tray.read_tray(store, NAME).shows] == [0, 0, 1]
    tray.say_again(store, NAME, {})
    after = tray.read_tray(store, NAME)
    assert [one.parts for one in after.shows] == [0, 1, 2]
    assert len({lying.signature for lying in (before, after)}) == 2


def test_a_second_light_is_kept_through_a_retake_of_either_photo_and_read_as_a_shot_by_older_programs(
    store, tmp_path
):
    a, b, _ = (tray.add_photo(store, NAME, f"{n}.jpg", n.encode()) for n in "abc")
    tray.say_again(store, NAME, {b.sha256: Again(a.sha256, False, a.sha256)})
    for old, new in ((b, "d"), (a, "e")):
        tray.replace_photo(store, NAME, old.sha256, f"{new}.jpg", new.encode())
    lying = tray.read_tray(store, NAME)
    assert names(store) == ["e.jpg", "d.jpg", "c.jpg"]
    assert [photo.name for photo in lying.second_lights.values()] == ["d.jpg"]
    assert [(photo.name, shows.parts) for photo, shows in lying.views] == [("e.jpg", 0), ("c.jpg", 1)]
    assert lying.first_light(lying.photos[1].sha256) == lying.photos[0]
    [journal] = (tmp_path / "trays").iterdir()
    lines = map(json.loads, filter(None, journal.read_text("utf-8").split("\n")))
    told = [line["said"]["again"] for line in lines if line["what"] == tray.AGAIN]
    assert {tuple(one) for one in told if one} == {("of", "turned")}


def test_the_signature_of_shots_is_what_it_was_before_second_lights(store):
    a, b = (tray.add_photo(store, NAME, f"{n}.jpg", n.encode()) for n in "ab")
    tray.say_again(store, NAME, {b.sha256: Again(a.sha256, True)})
    before = tray.read_tray(store, NAME).signature
    # By our own earlier output: an update must have nothing graded again.
    assert before == "c5b3eb98533dce0edc05709d9d4798d5cb42ce3d055364b9f33bc31cc8da4978"
    tray.say_again(store, NAME, {b.sha256: Again(a.sha256, False, a.sha256)})
    assert tray.read_tray(store, NAME).signature != before


def test_a_line_cut_off_by_a_stopped_machine_spoils_no_other(store, tmp_path):
    tray.add_photo(store, NAME, "a.jpg", b"a")
    [file] = (tmp_path / "trays").iterdir()
    with file.open("ab") as journal:
        journal.write(b'\n{"what": "photo", "sai')
    tray.add_photo(store, NAME, "b.jpg", b"b")
    assert names(store) == ["a.jpg", "b.jpg"]


def test_elements_whose_names_run_together_have_trays_of_their_own(store):
    tray.add_photo(store, ElementName("a", "bc"), "a.jpg", b"a")
    assert tray.read_tray(store, ElementName("ab", "c")).photos == ()


def _add_many(url, first):
    store = record.open_store(url)
    for n in range(first, first + 20):
        tray.add_photo(store, NAME, f"{n}.jpg", str(n).encode())


def test_two_writers_at_once_lose_no_photo(store, tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=_add_many, args=(url, first)) for first in (0, 100)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert len(names(store)) == 40


def test_the_signature_changes_with_all_that_grades_depend_on_and_with_nothing_else(store):
    photo = tray.add_photo(store, NAME, "a.jpg", b"a")
    signatures = [tray.read_tray(store, NAME).signature]

    def now():
        signatures.append(tray.read_tray(store, NAME).signature)

    tray.lay_out(store, NAME, Layout(order=tray.AS_GIVEN))
    now()
    assert signatures[0] == signatures[1]
    tray.lay_out(store, NAME, Layout(first="reaction"))
    now()
    tray.set_reference(store, NAME, "clean.jpg", b"clean")
    now()
    tray.say_lining(store, NAME, "tan")
    now()
    tray.say_no_part(store, NAME, photo.sha256, (5.0, 5.0))
    now()
    tray.add_photo(store, NAME, "b.jpg", b"b")
    now()
    assert len(set(signatures[1:])) == 6


def test_the_clean_lining_is_what_was_said_last_a_photo_or_a_name(store):
    tray.say_lining(store, NAME, "tan")
    named = tray.read_tray(store, NAME)
    assert (named.clean, named.lining, named.reference) == ("tan", "tan", None)
    tray.set_reference(store, NAME, "clean.jpg", b"clean")
    pictured = tray.read_tray(store, NAME)
    assert (pictured.clean, pictured.lining) == ("clean.jpg", None)
    tray.say_lining(store, NAME, None)
    assert tray.read_tray(store, NAME).clean is None
    assert len({named.alone, pictured.alone, tray.read_tray(store, NAME).alone}) == 3


def test_rims_set_anew_take_the_place_of_earlier_ones_there_and_of_no_part():
    moved = tuple((x + 3, y) for x, y in RIM)
    away = tuple((x + 900, y) for x, y in RIM)
    said = Said().without_part((0.0, 0.0)).with_rims(RIM, HOLE).with_rims(away, HOLE).with_rims(moved, HOLE)
    assert said == Said(rims=((away, HOLE), (moved, HOLE)))
    assert said.without_part((0.0, 0.0)) == Said(rims=((away, HOLE),), no_parts=((0.0, 0.0),))


def test_what_was_put_right_is_read_back_and_can_be_taken_back(store):
    photo = tray.add_photo(store, NAME, "a.jpg", b"a")
    tray.say_rims(store, NAME, photo.sha256, RIM, HOLE)
    assert tray.read_tray(store, NAME).said[photo.sha256] == Said(rims=((RIM, HOLE),))
    tray.say_nothing(store, NAME, photo.sha256)
    assert tray.read_tray(store, NAME).said[photo.sha256] == Said()


EDGE = ((0.0, 0.0), (500.0, 30.0), (1000.0, 0.0))
OTHER = tuple((x, y + 120) for x, y in EDGE)


def test_a_band_set_anew_takes_the_place_of_the_one_there_whichever_way_it_was_tapped():
    moved = tuple((x + 40, y + 5) for x, y in EDGE)
    beside, further = (tuple((x, y + by) for x, y in EDGE) for by in (130, 250))
    said = Said().with_band(EDGE, OTHER).with_band(beside, further).with_band(OTHER[::-1], moved)
    assert said == Said(bands=((beside, further), (OTHER[::-1], moved)))


def test_edges_of_a_band_are_read_back_and_the_signature_without_them_stays_as_ever(store):
    photo = tray.add_photo(store, NAME, "a.jpg", b"a")
    before = tray.read_tray(store, NAME).signature
    tray.say_band(store, NAME, photo.sha256, EDGE, OTHER)
    lying = tray.read_tray(store, NAME)
    assert lying.said[photo.sha256] == Said(bands=((EDGE, OTHER),))
    assert lying.signature != before
    tray.say_nothing(store, NAME, photo.sha256)
    assert tray.read_tray(store, NAME).signature == before
    # As before bands could be set, by our own earlier output: an update must have nothing graded again.
    assert before == "f15e13ab37da9d47fa05a26281e934a5ad3617b4203f1289cbcac6daa2f8e5d6"
