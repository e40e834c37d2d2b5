"""Plates on edge, and what is said where no rim can be fitted: in the words of the quality gate."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearview.parts import find_parts, look, nothing_found
from wearview.parts.edge_on import plates_on_edge
from wearview.parts.learned import BENCH, EDGE_VIEW, LABELS, LINING, STEEL, Sight
from wearview.parts.nothing import why_none
from wearview.photo import read_photo_bytes
from wearview.terms import PROBLEMS

SCALE = 6.25  # working-copy pixels per cell
SHAPE = (1200, 1600)


def sight_of(label: int, draw: np.ndarray, chance: float = 0.95) -> Sight:
    """A sight of bench in which the cells drawn show a label."""
    chances = np.zeros((len(LABELS), 192, 256), np.float32)
    chances[label] = np.where(draw > 0, chance, 0)
    chances[BENCH] = 1 - chances[label]
    return Sight(chances, np.zeros((2, 192, 256), np.float32), SCALE)


def ellipse(axes: tuple[int, int], angle: float, at: tuple[int, int] = (128, 96)) -> np.ndarray:
    canvas = np.zeros((192, 256), np.uint8)
    cv2.ellipse(canvas, at, axes, angle, 0, 360, 1, -1)
    return canvas


@pytest.mark.parametrize("angle", [0, 40, 90, 135])
def test_a_plate_on_edge_is_outlined_where_it_stands(angle):
    (plate,) = plates_on_edge(sight_of(EDGE_VIEW, ellipse((50, 6), angle)), np.zeros(SHAPE, bool))
    assert (plate.outline.cx, plate.outline.cy) == pytest.approx((128.5 * SCALE, 96.5 * SCALE), abs=SCALE)
    assert plate.outline.major == pytest.approx(101 * SCALE, rel=0.05)
    assert plate.outline.minor == pytest.approx(13 * SCALE, rel=0.2)
    off = abs(plate.outline.angle_deg - angle) % 180
    assert min(off, 180 - off) < 4
    area = plate.mask.sum() / SCALE**2
    assert area == pytest.approx(ellipse((50, 6), angle).sum(), rel=0.1)


@pytest.mark.parametrize(
    ("draw", "chance"), [(ellipse((50, 6), 0), 0.5), (ellipse((3, 2), 0), 0.95)], ids=["unsure", "a speck"]
)
def test_what_is_unsure_or_a_speck_is_no_plate_on_edge(draw, chance):
    assert plates_on_edge(sight_of(EDGE_VIEW, draw, chance), np.zeros(SHAPE, bool)) == []


def test_a_plate_already_found_is_not_found_again_on_edge():
    assert plates_on_edge(sight_of(EDGE_VIEW, ellipse((50, 6), 0)), np.ones(SHAPE, bool)) == []


@pytest.mark.parametrize(
    ("draw", "named"),
    [
        (ellipse((7, 7), 0), "too small"),
        (ellipse((40, 40), 0), "covered"),
        (ellipse((40, 40), 0, (5, 96)), "cut off by the frame"),
        (np.zeros((192, 256), np.uint8), None),
        (ellipse((1, 1), 0), None),
    ],
)
@pytest.mark.parametrize("label", [LINING, STEEL])
def test_what_the_network_sees_of_a_plate_says_why_no_rim_was_found(draw, named, label):
    assert why_none(sight_of(label, draw), 1.0, 110) == named


def test_a_plate_on_edge_alone_says_so_and_what_is_unsure_says_nothing():
    assert why_none(sight_of(EDGE_VIEW, ellipse((50, 6), 30)), 1.0, 110) == "edge view"
    assert why_none(sight_of(LINING, ellipse((40, 40), 0), chance=0.7), 1.0, 110) is None


def test_the_gate_s_phrases_carry_their_remedies():
    remedies = {name: PROBLEMS[name].remedy for name in ("edge view", "too small", "covered", "blurred")}
    assert remedies["edge view"] == "Lay it flat and photograph it from above."
    assert remedies["too small"].startswith("Come closer")
    assert "Clear the part" in remedies["covered"]
    assert remedies["blurred"].startswith("Hold still or rest the phone")
    assert all(PROBLEMS[name].refuses for name in remedies)


def drawn(radius: float) -> np.ndarray:
    """A picture of 1600 x 1200 with one inner-toothed plate of so many pixels' radius, or none."""
    over, half = 8, 64
    y, x = (np.mgrid[: 2 * half * over, : 2 * half * over] + 0.5) / over - half
    far, angle = np.hypot(x, y), np.arctan2(y, x)
    grey = np.full(x.shape, 90, np.uint8)
    grey[(far < 0.72 * radius) & (far > 0.66 * radius) & (np.cos(30 * angle) > 0)] = 170
    grey[(far <= radius) & (far >= 0.72 * radius)] = 45
    picture = np.full((1200, 1600), 90, np.uint8)
    picture[500 : 500 + 2 * half, 700 : 700 + 2 * half] = cv2.resize(
        grey, (2 * half, 2 * half), interpolation=cv2.INTER_AREA
    )
    noisy = picture + np.random.default_rng(4).normal(0, 2, picture.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("radius", "named"), [(34.0, "too small"), (0.0, "no part found")])
def test_a_plate_of_a_twentieth_of_the_frame_is_asked_for_from_closer(radius, named):
    png = cv2.imencode(".png", drawn(radius))[1].tobytes()
    photo = read_photo_bytes(png, "drawn")
    assert find_parts(photo) == ()
    assert nothing_found(photo, look(photo.working)) == named
