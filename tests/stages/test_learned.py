"""The network's answer is laid over the photo rightly, whatever its shape; what is no plate has no centre."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.training.parts import labels
from wearview.errors import ModelsError
from wearview.parts import learned
from wearview.parts.choose import SURE
from wearview.parts.find import find_plates
from wearview.parts.learned import (
    BAND_LINING,
    HOLE,
    LABELS,
    LINING,
    ON_PLATE,
    FaceSeen,
    Sight,
    band_seen,
    face_seen,
    face_span,
    look,
    plate_centres,
)
from wearview.parts.part import Ellipse
from wearview.photo import read_photo


@pytest.fixture(scope="module")
def demo_row() -> np.ndarray:
    """A demo photo of five clean friction plates."""
    return read_photo("demo_images/forward-pack-1.jpg").working


def made_sight(*plates: tuple[int, int, int]) -> Sight:
    """A sight of 256 by 192 cells with ring-shaped linings (x, y, radius) whose offsets point home."""
    chance = np.zeros((len(LABELS), 192, 256), np.float32)
    offset = np.zeros((2, 192, 256), np.float32)
    y, x = np.mgrid[:192, :256]
    for cx, cy, radius in plates:
        far = np.hypot(x - cx, y - cy)
        chance[LINING][(far <= radius) & (far > 0.7 * radius)] = 1
        chance[HOLE][far <= 0.7 * radius] = 1
        offset[:, far <= radius] = np.stack([cx - x, cy - y])[:, far <= radius]
    chance[0] = 1 - chance[1:].sum(axis=0)
    return Sight(chance, offset, 6.25)


def test_training_and_program_name_the_labels_alike():
    assert labels.LABELS == LABELS
    assert (labels.NET_SIZE, labels.OFFSET_UNIT) == (learned.SIZE, learned.OFFSET_UNIT)


def test_chances_sum_to_one_and_cover_the_photo(demo_row):
    sight = look(demo_row)
    np.testing.assert_allclose(sight.chance.sum(axis=0), 1, atol=1e-4)
    height, width = demo_row.shape[:2]
    rows, columns = sight.chance.shape[1:]
    assert columns * sight.scale == pytest.approx(width, abs=2 * sight.scale)
    assert rows * sight.scale == pytest.approx(height, abs=2 * sight.scale)


def test_five_plates_in_a_row_have_five_centres(demo_row):
    assert len(plate_centres(look(demo_row))) == 5


def test_turning_the_photo_turns_the_centres(demo_row):
    height = demo_row.shape[0]
    straight = plate_centres(look(demo_row))
    turned = plate_centres(look(np.ascontiguousarray(np.rot90(demo_row, -1))))  # a quarter turn clockwise
    back = np.stack([turned[:, 1], height - 1 - turned[:, 0]], axis=1)
    assert len(back) == len(straight)
    miss = np.linalg.norm(back[:, None] - straight[None], axis=2).min(axis=1)
    assert miss.max() < 12, (
        "two of the network's pixels: a landscape is not the same grid as a portrait turned"
    )


def test_a_wide_photo_is_padded_and_keeps_its_places(demo_row):
    wide = demo_row[: demo_row.shape[1] * 9 // 16]
    kept = [xy for xy in plate_centres(look(demo_row)) if 150 < xy[1] < wide.shape[0] - 150]
    seen = plate_centres(look(wide))
    assert kept
    for xy in kept:
        assert np.linalg.norm(seen - xy, axis=1).min() < 12


def test_each_plate_of_a_made_sight_gets_one_centre():
    centres = plate_centres(made_sight((60, 60, 30), (120, 70, 30), (200, 140, 40)))
    cells = sorted(((x + 0.5) / 6.25 - 0.5, (y + 0.5) / 6.25 - 0.5) for x, y in centres)
    np.testing.assert_allclose(cells, [(60, 60), (120, 70), (200, 140)], atol=0.6)


def test_a_speck_is_no_plate():
    assert len(plate_centres(made_sight((60, 60, 2)))) == 0


def test_an_empty_grey_picture_shows_no_plate():
    sight = look(np.full((600, 800, 3), 128, np.uint8))
    assert len(plate_centres(sight)) == 0
    assert sight.chance[list(ON_PLATE)].sum(axis=0).mean() < 0.05


def test_the_same_photo_gives_the_same_answer(demo_row):
    one, two = look(demo_row), look(demo_row)
    assert np.array_equal(one.chance, two.chance)
    assert np.array_equal(one.offset, two.offset)


def test_a_missing_or_broken_network_is_said_with_its_remedy(tmp_path, monkeypatch, demo_row):
    monkeypatch.setattr(learned, "models_folder", lambda: tmp_path)
    with pytest.raises(ModelsError, match=r"parts-3\.onnx"):
        look(demo_row)
    (tmp_path / "parts-2.onnx").write_bytes(b"no network")
    with pytest.raises(ModelsError, match="Install the program again"):
        look(demo_row)


def test_opencv_reads_what_was_exported_and_its_size_is_small():
    path = learned.models_folder() / learned.FILE
    assert path.stat().st_size < 10e6
    assert cv2.dnn.readNetFromONNX(str(path)).getUnconnectedOutLayersNames() == ("parts",)


def blind(sight: Sight) -> Sight:
    """A sight of bare bench everywhere."""
    chance = np.zeros_like(sight.chance)
    chance[0] = 1
    return Sight(chance, np.zeros_like(sight.offset), sight.scale)


def test_what_the_network_sees_moves_the_chance_and_plain_teeth_outweigh_it():
    photo = read_photo("demo_images/forward-pack-1.jpg")
    sight = look(photo.working)
    asked, doubted, alone = (find_plates(photo.working, None, s) for s in (sight, blind(sight), None))
    assert len(asked) == len(doubted) == len(alone) == 5
    for plate in asked:
        assert replace(plate, seen=FaceSeen(0.0, 0.0)).chance < 0.5 < SURE < plate.chance


def test_a_face_is_seen_between_its_rims_and_not_beside_them():
    sight = made_sight((120, 90, 60))
    outer, inner = (
        Ellipse(*sight.to_photo(np.array([120, 90])), 2 * r * 6.25, 2 * r * 6.25, 0) for r in (60, 42)
    )
    right = face_seen(sight, outer, inner)
    assert right.on > 0.95
    assert right.beside < 0.05
    wide = face_seen(sight, outer, replace(inner, major=inner.major / 2, minor=inner.minor / 2))
    narrow = face_seen(sight, outer, replace(inner, major=1.2 * inner.major, minor=1.2 * inner.minor))
    assert wide.on < 0.7
    assert narrow.beside > 0.5


def test_a_face_off_the_photo_is_not_seen():
    sight = made_sight((120, 90, 60))
    far = Ellipse(9000, 9000, 700, 700, 0)
    assert face_seen(sight, far, replace(far, major=500, minor=500)) == FaceSeen(0.0, 0.0)


def test_the_span_of_a_face_is_found_along_circles_round_its_centre():
    sight = made_sight((120, 90, 60))
    radius = np.linspace(10, 90, 161)
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    circles = np.stack([np.cos(turn), np.sin(turn)], -1)[:, None] * radius[:, None] + np.array([120, 90])
    span = face_span(sight, sight.to_photo(circles).astype(np.float32))
    assert span is not None
    np.testing.assert_allclose(radius[list(span)], (42, 60), atol=1.0)
    assert face_span(blind(sight), sight.to_photo(circles).astype(np.float32)) is None


def test_a_band_is_seen_along_its_middle():
    sight = made_sight()
    sight.chance[BAND_LINING, 80:100, 40:200] = 1
    along = sight.to_photo(np.stack([np.linspace(45, 195, 65), np.full(65, 90)], axis=1))
    assert band_seen(sight, along) == pytest.approx(1)
    assert band_seen(sight, along + np.array([0, 400])) == pytest.approx(0)
