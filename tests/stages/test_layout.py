"""Shots with the phone turned between them: which plate is which, or that it cannot be told."""

import io
import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.stages.test_two_lights import PLATE
from wearview.layout import surest_way, ways_to_lie
from wearview.parts import Ellipse
from wearview.photo import PhotoBytes
from wearview.pipeline import grade_photos
from wearview.record import in_shots
from wearview.settings import load_settings
from wearview.terms import SHOTS_EITHER_WAY

DEMO = Path(__file__).parents[2] / "demo_images"
SETTINGS = load_settings()


@dataclass
class Plate:
    """What of a part its place and size are read from."""

    outer: Ellipse
    inner: Ellipse | None = None
    spine: None = None


def laid(places, radii, turn=0.0, scale=1.0, mirror=False):
    """Plates as a phone sees them that is turned by so many degrees and held so much closer."""
    z = np.array([complex(*place) for place in places])
    z = (z.conj() if mirror else z) * scale * np.exp(1j * math.radians(turn))
    ellipses = [
        Ellipse(c.real, c.imag, 2 * scale * r, 2 * scale * r, 0) for c, r in zip(z, radii, strict=True)
    ]
    return [Plate(rim, rim.scaled(0.7)) for rim in ellipses]


ROW, EQUAL = [(0, 0), (220, 5), (440, -3), (660, 2)], [100] * 4
CORNER = [(0, 0), (220, 0), (440, 0), (440, 240)]


def test_a_row_of_equal_plates_lies_two_ways_however_the_phone_is_turned():
    for turn in (0, 90, 180, 213):
        ways = ways_to_lie(laid(ROW, EQUAL), laid(ROW, EQUAL, turn, 0.8))
        assert set(ways) == {(0, 1, 2, 3), (3, 2, 1, 0)}
        x, y = cv2.perspectiveTransform(np.array([[ROW[1]]], float), ways[0, 1, 2, 3])[0, 0]
        assert complex(x, y) == pytest.approx(complex(*ROW[1]) * 0.8 * np.exp(1j * math.radians(turn)), abs=8)


def test_a_layout_without_symmetry_or_plates_of_two_sizes_lie_one_way_in_whatever_order_they_are_found():
    found = [2, 0, 3, 1]
    for places, radii in ((CORNER, EQUAL), (ROW, [60, 100, 100, 100])):
        again = laid(places, radii, 140)
        [order] = ways_to_lie(laid(places, radii), [again[k] for k in found])
        assert [found[k] for k in order] == [0, 1, 2, 3]


def test_no_mirrored_layout_and_no_other_layout_fits():
    assert ways_to_lie(laid(CORNER, EQUAL), laid(CORNER, EQUAL, 30, mirror=True)) == {}
    assert ways_to_lie(laid(CORNER, EQUAL), laid(ROW, EQUAL)) == {}
    assert ways_to_lie(laid(ROW, EQUAL), laid([ROW[0]] * 4, EQUAL)) == {}


def photo_of(rgb8, name, quality=92):
    out = io.BytesIO()
    Image.fromarray(rgb8).save(out, "JPEG", quality=quality)
    return PhotoBytes(name, out.getvalue())


def pixels(file):
    with Image.open(file) as picture:
        return np.asarray(picture.convert("RGB"))


def turned(rgb8, degrees):
    """The picture turned clockwise, all of it in view."""
    height, width = rgb8.shape[:2]
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    size = round(abs(width * c) + abs(height * s)), round(abs(width * s) + abs(height * c))
    warp = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), -degrees, 1)
    warp[:, 2] += (size[0] - width) / 2, (size[1] - height) / 2
    return cv2.warpAffine(rgb8, warp, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


@pytest.mark.parametrize(
    ("name", "degrees"), [("direct-pack-1", 180), ("direct-pack-2", 90), ("overdrive-pack-2", 37)]
)
def test_plates_keep_their_positions_when_the_phone_is_turned_between_shots(name, degrees):
    rgb8 = pixels(DEMO / f"{name}.jpg")
    shots = [photo_of(rgb8, "a"), photo_of(turned(rgb8, degrees), "b")]
    graded = grade_photos(shots, SETTINGS, reference=str(PLATE), shows=in_shots(2, 2))
    first, again = graded.photos
    assert len(again.parts) == len(first.parts) > 3
    assert [part.id[-2:] for part in again.parts] == [f"-{n}" for n in range(1, len(again.parts) + 1)]
    height, width = rgb8.shape[:2]
    middle = np.array([width - 1, height - 1]) / 2
    there = np.array([again.width - 1, again.height - 1]) / 2
    turn = np.exp(1j * math.radians(degrees))
    for one, other in zip(first.parts, again.parts, strict=True):
        assert (other.shot_of, other.position) == (one.id, one.position)
        moved = complex(*([one.part.outer.cx, one.part.outer.cy] - middle)) * turn + complex(*there)
        assert abs(moved - complex(other.part.outer.cx, other.part.outer.cy)) < 0.1 * one.part.outer.major


def test_a_bench_that_looks_the_same_turned_round_is_refused_until_something_lies_at_one_end():
    half = cv2.resize(pixels(PLATE), (1000, 750), interpolation=cv2.INTER_AREA)
    bench = np.hstack([half, half[::-1, ::-1]])
    marked = bench.copy()
    cv2.rectangle(marked, (30, 40), (150, 700), (150, 20, 20), -1)
    for rgb8, problems, shots in ((bench, [SHOTS_EITHER_WAY], 0), (marked, [], 2)):
        sources = [photo_of(rgb8, "a"), photo_of(turned(rgb8, 180), "b", 88)]
        _, again = grade_photos(sources, SETTINGS, reference=str(PLATE), shows=in_shots(2, 2)).photos
        assert [name for name in again.problems if name.startswith("shots")] == problems
        assert len(again.parts) == shots


def test_photos_of_another_bench_tell_nothing_about_which_of_two_ways_it_is():
    ways = ways_to_lie(laid(ROW, EQUAL), laid(ROW, EQUAL))
    rng = np.random.default_rng(1)
    noise = [rng.integers(0, 255, (600, 800, 3), np.uint8) for _ in range(2)]
    assert surest_way(ways, (noise[0], 1.0), (noise[1], 1.0)) is None
