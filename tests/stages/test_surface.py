"""What lies on a face without being its colour (grooves, print, glare) is left out before measuring."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.faces import RING, ring_face
from wearview.look import look_at
from wearview.photo import read_photo
from wearview.surface import rectify, take_face
from wearview.surface.rectify import find_marks
from wearview.terms import FRICTION

DEMO = Path(__file__).parents[2] / "demo_images"
GRID = 400
ROW, COLUMN = np.indices((GRID, GRID)) - (GRID - 1) / 2
RADIUS, ANGLE = np.hypot(ROW, COLUMN), np.arctan2(ROW, COLUMN)
FACE = (RADIUS < 195) & (RADIUS > 140)


def lining(seed=1):
    """L* of a plain lining with its grain."""
    return np.random.default_rng(seed).normal(52, 1.5, (GRID, GRID)).astype(np.float32)


def drawn(count, width, angle_0=0.1):
    """Straight radial lines right across the face, as a mask."""
    mask = np.zeros((GRID, GRID), np.uint8)
    middle = (GRID - 1) / 2
    for angle in angle_0 + np.arange(count) * 2 * np.pi / count:
        ends = [(round(middle + r * np.cos(angle)), round(middle + r * np.sin(angle))) for r in (130, 199)]
        cv2.line(mask, *ends, 1, width)
    return mask.astype(bool) & FACE


@pytest.mark.parametrize("width", [2, 4, 6])
@pytest.mark.parametrize(("depth", "name"), [(-14, "groove"), (14, "ink")])
def test_thin_marks_are_found_and_little_else(width, depth, name):
    marks = drawn(18, width)
    face = lining() + np.where(marks, depth, 0).astype(np.float32)
    found = find_marks(face, FACE, float(GRID))[name]
    assert (found & marks).sum() >= 0.95 * marks.sum()
    # A mark is taken with the pixel on either side of it, which the lens has mixed with it.
    near = cv2.dilate(marks.astype(np.uint8), np.ones((7, 7), np.uint8)).astype(bool)
    assert (found & ~near).sum() <= 0.01 * FACE.sum()


def test_a_plain_face_has_no_marks():
    for found in find_marks(lining(), FACE, float(GRID)).values():
        assert found.mean() < 0.01


def test_heat_is_no_mark():
    # A burnt sector with an edge as sharp as the lens draws it, and a burnt rim of a third of the face.
    sector = cv2.GaussianBlur((np.abs(ANGLE) < 0.5).astype(np.float32), (0, 0), 3)
    rim = cv2.GaussianBlur((RADIUS > 177).astype(np.float32), (0, 0), 3)
    for heat in (sector, rim):
        for found in find_marks(lining() - 20 * heat, FACE, float(GRID)).values():
            assert (found & FACE).sum() < 0.03 * FACE.sum()


def first_plate(name):
    """The photo, its first friction plate, and that plate's face on its grid."""
    photo = read_photo(DEMO / name)
    seen = look_at(photo)
    part = next(part for part in seen.parts if part.kind == FRICTION)
    return photo, part, seen.light, rectify(photo, part, seen.light)


def test_grooves_are_left_out_of_the_face_that_is_measured():
    photo, part, light, rectified = first_plate("overdrive-pack-1.jpg")  # cut like a waffle
    face = take_face(photo, rectified, part, light)
    grooves = rectified.marks["groove"]
    assert 0.02 < face.excluded["groove"] < 0.5
    assert not (face.mask & grooves).any()
    assert (face.whole & grooves).any()  # still part of the face, as its mask promises


def test_with_a_known_scale_the_averaging_disc_is_one_millimetre():
    photo, part, light, rectified = first_plate("reference-tan.jpg")
    assert np.isnan(rectified.mm_per_px)
    size = np.sqrt(part.outer.major * part.outer.minor)
    scaled = rectify(photo, part, light, mm_per_px=120 / size)  # as if it were 120 mm across
    assert scaled.mm_per_px * scaled.diameter == pytest.approx(120, rel=0.01)
    assert scaled.disc * scaled.mm_per_px == pytest.approx(1)
    assert rectified.disc / rectified.diameter == pytest.approx(1 / 150)  # the contract's, without a scale
    assert take_face(photo, scaled, part, light).mm_per_px == scaled.mm_per_px


def test_what_is_blown_out_is_left_out_of_the_face_that_is_measured():
    photo, part, light, rectified = first_plate("reference-tan.jpg")
    before = take_face(photo, rectified, part, light)
    rectified.clipped[:, : GRID // 2] = True
    after = take_face(photo, rectified, part, light)
    assert before.mask[:, : GRID // 2].any()
    assert not after.mask[:, : GRID // 2].any()
    assert after.excluded["glare"] == pytest.approx(0.5, abs=0.1)
    assert "glare" in after.problems


def test_a_highlight_is_left_out_and_a_pale_patch_of_the_lining_is_not():
    photo, part, light, rectified = first_plate("reference-tan.jpg")
    at = np.argwhere(rectified.whole)[rectified.whole.sum() // 3]
    spot = (np.hypot(*(np.indices(rectified.whole.shape) - at[:, None, None])) < 9) & rectified.whole
    plain, as_seen = take_face(photo, rectified, part, light).mask & spot, rectified.lab.copy()
    kept = {}
    for what, share in (("highlight", 0.3), ("pale", 1.1)):  # added light is grey; a pale lining has its hue
        rectified.lab[spot] = as_seen[spot] * [1, share, share] + [30, 0, 0]
        kept[what] = (take_face(photo, rectified, part, light).mask & spot).sum() / plain.sum()
    assert kept["highlight"] < 0.1
    assert kept["pale"] > 0.7


def test_the_usual_colour_of_a_face_is_the_median_of_what_is_measured():
    lab = np.random.default_rng(5).normal(50, 9, (*RING.shape, 3))
    face = ring_face(lab)
    np.testing.assert_allclose(face.usual, np.median(lab[RING], axis=0), atol=1e-5)  # single precision
    assert np.isnan(ring_face(mask=np.zeros_like(RING)).usual).all()
