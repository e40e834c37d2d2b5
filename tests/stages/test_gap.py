"""A plate missed inside a row leaves a gap, which is said and changes neither position nor grade."""

import math
from pathlib import Path

import numpy as np
import pytest

from wearview.look import centre_of
from wearview.parts import Corrections, behind_gap, find_parts
from wearview.photo import read_photo
from wearview.pipeline import grade_photos
from wearview.record import build_document, validate
from wearview.report.words import gap_words
from wearview.settings import load_settings
from wearview.terms import GAP, PROBLEMS, STEEL

SIX_PLATES = Path(__file__).parents[2] / "demo_images" / "direct-pack-1.jpg"
INSIDE = (1, 2, 3, 4)
ROWS = {
    "even": lambda k: (100 + 210 * k, 400 + 12 * k),
    "slanting away": lambda k: ((100 + 300 * k) / (1 + 0.06 * k), 500 / (1 + 0.06 * k)),
    "laid by hand": lambda k: (100 + 210 * k + (8, -6, 5, -9, 4, 7)[k], 400 + (9, -12, 6, 10, -8, 3)[k]),
}


def row(kind, without=()):
    return np.array([ROWS[kind](k) for k in range(6) if k not in without], float)


def told(centres, diameter=180.0):
    return behind_gap(centres, np.full(len(centres), diameter))


@pytest.mark.parametrize("kind", ROWS)
def test_a_row_that_has_all_its_plates_has_no_gap(kind):
    assert told(row(kind)) is None


@pytest.mark.parametrize("kind", ROWS)
@pytest.mark.parametrize("missed", INSIDE)
def test_a_plate_missed_inside_a_row_is_told_where_it_lay(kind, missed):
    assert told(row(kind, {missed})) == missed


@pytest.mark.parametrize("missed", INSIDE)
def test_turned_mirrored_or_from_the_other_end_the_same_plate_is_missed(missed):
    left = row("even", {missed})
    cos, sin = math.cos(2.1), math.sin(2.1)
    assert told(left @ np.array([[cos, -sin], [sin, cos]])) == missed
    assert told(left * [-1, 1]) == missed
    assert told(left[::-1]) == 5 - missed


@pytest.mark.parametrize("ends", [{0}, {5}, {0, 5}])
def test_a_plate_missed_at_an_end_leaves_no_gap(ends):
    assert told(row("even", ends)) is None


def test_two_gaps_say_nothing():
    assert told(np.array([[x, 0.0] for x in (0, 200, 600, 800, 1200)])) is None


def test_three_plates_have_no_even_steps_to_tell_by():
    assert told(row("even", {1, 4, 5})) is None


def test_plates_in_two_rows_or_turned_back_are_no_row():
    assert told(row("even", {2}) + np.array([[0, 90 * (k % 2)] for k in range(5)])) is None
    assert told(row("even", {2})[[0, 2, 1, 3, 4]]) is None


@pytest.fixture(scope="module")
def photo():
    return read_photo(SIX_PLATES)


@pytest.fixture(scope="module")
def third_missed(photo):
    """What a person says where the third plate is not found."""
    third = sorted(find_parts(photo), key=lambda part: part.outer.cx)[2]
    return {photo.sha256: Corrections(no_parts=(centre_of(third),))}


def problems(document):
    return {part["position"]: part["problems"] for part in document["photos"][0]["parts"]}


def test_the_gap_is_said_of_the_plate_behind_it_and_moves_nothing(photo, third_missed):
    settings = load_settings()
    whole = build_document(grade_photos([photo], settings), settings)
    less = build_document(grade_photos([photo], settings, corrections=third_missed), settings)
    validate(less)
    assert not any(GAP in listed for listed in problems(whole).values())
    assert [position for position, listed in problems(less).items() if GAP in listed] == [3]
    assert list(problems(less)) == [1, 2, 3, 4, 5]
    assert less["photos"][0]["parts"][2]["gradeable"] == whole["photos"][0]["parts"][3]["gradeable"]
    assert not PROBLEMS[GAP].refuses


def test_from_the_right_the_gap_lies_before_the_fourth_plate(photo, third_missed):
    settings = load_settings()
    document = build_document(
        grade_photos([photo], settings, corrections=third_missed, apply_end="right"), settings
    )
    assert [position for position, listed in problems(document).items() if GAP in listed] == [4]


def test_whoever_has_counted_the_plates_is_not_told(photo, third_missed):
    settings = load_settings()
    graded = grade_photos([photo], settings, corrections=third_missed, kinds=[STEEL] * 5)
    assert not any(GAP in listed for listed in problems(build_document(graded, settings)).values())


def test_the_words_name_the_position_behind_the_gap():
    [said] = gap_words(["3"])
    assert said.startswith("Position 3: ")
    assert said.endswith(PROBLEMS[GAP].remedy)
