"""What a person put right: rims through tapped points, and things that are no part."""

import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from wearview.errors import CallError
from wearview.parts import Corrections, Ellipse, Rims, find_parts, fit_points
from wearview.photo import read_photo
from wearview.pipeline import grade_photos
from wearview.record import build_document, validate
from wearview.settings import load_settings

PLATES = Path(__file__).parents[2] / "demo_images" / "direct-pack-2.jpg"
ROUND = np.linspace(0, 2 * math.pi, 6, endpoint=False)


@pytest.fixture(scope="module")
def photo():
    return read_photo(PLATES)


@pytest.fixture(scope="module")
def found(photo):
    return sorted(find_parts(photo), key=lambda part: part.outer.cx)


def points(ellipse, count=6):
    return tuple(map(tuple, ellipse.points(ROUND[:count])))


def rims_of(part, count=6):
    return Rims(points(part.outer, count), points(part.inner, count))


def numbers(ellipse):
    return [ellipse.cx, ellipse.cy, ellipse.major, ellipse.minor]


@pytest.mark.parametrize("angle", [0.0, 35.0, 90.0, 150.0])
def test_six_points_of_an_ellipse_give_it_back(angle):
    true = Ellipse(400.0, 300.0, 220.0, 180.0, angle)
    fitted = fit_points(points(true))
    assert numbers(fitted) == pytest.approx(numbers(true), abs=0.05)
    assert math.sin(math.radians(fitted.angle_deg - angle)) == pytest.approx(0, abs=0.005)


def test_five_points_agree_with_another_fit_of_opencv():
    xy = Ellipse(400.0, 300.0, 220.0, 180.0, 35.0).points(ROUND[:5])
    (cx, cy), axes, _ = cv2.fitEllipseAMS(xy.astype(np.float32))
    fitted = fit_points(tuple(map(tuple, xy)))
    assert numbers(fitted) == pytest.approx([cx, cy, max(axes), min(axes)], abs=0.1)


def test_three_points_give_the_circle_through_them():
    fitted = fit_points(((0.0, 10.0), (10.0, 0.0), (0.0, -10.0)))
    assert numbers(fitted) == pytest.approx([0, 0, 20, 20], abs=1e-6)


@pytest.mark.parametrize("line", [((0, 0), (1, 1)), ((0, 0), (1, 1), (2, 2))])
def test_points_that_make_no_ring_are_refused_in_words(line):
    with pytest.raises(CallError, match="rim"):
        fit_points(line)


def test_what_a_person_calls_no_part_is_none_and_the_others_stay(photo, found):
    first = found[0].outer
    left = find_parts(photo, Corrections(no_parts=((first.cx, first.cy),)))
    assert sorted(part.outer.cx for part in left) == pytest.approx([part.outer.cx for part in found[1:]])


def test_a_rim_set_by_hand_takes_the_place_of_the_one_that_was_found(photo, found):
    smaller = replace(found[0].outer, major=found[0].outer.major * 0.9, minor=found[0].outer.minor * 0.9)
    said = Corrections(rims=(Rims(points(smaller), points(found[0].inner)),))
    parts = sorted(find_parts(photo, said), key=lambda part: part.outer.cx)
    assert [part.outline_stated for part in parts] == [True] + [False] * (len(found) - 1)
    assert numbers(parts[0].outer) == pytest.approx(numbers(smaller), abs=0.5)


def test_a_plate_that_was_missed_is_graded_where_its_rims_were_tapped(photo, found):
    first = found[0]
    middle = (first.outer.cx, first.outer.cy)
    said = {photo.sha256: Corrections(rims=(rims_of(first),), no_parts=(middle,))}
    settings = load_settings()
    plain = build_document(grade_photos([photo], settings), settings)
    document = build_document(grade_photos([photo], settings, corrections=said), settings)
    validate(document)
    [entry], [before] = document["photos"], plain["photos"]
    assert len(entry["parts"]) == len(before["parts"])
    stated = [part for part in entry["parts"] if part["outline"].get("stated")]
    assert [part["position"] for part in stated] == [1]
    assert stated[0]["grade"]["level"] == before["parts"][0]["grade"]["level"]


def test_an_inner_rim_outside_the_outer_one_is_refused(photo, found):
    with pytest.raises(CallError, match="inner rim"):
        find_parts(photo, Corrections(rims=(Rims(points(found[0].inner), points(found[0].outer)),)))
