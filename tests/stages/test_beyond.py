"""Where a plate ends: teeth and all, whatever the light; a missing file is said."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.accuracy.overlap import iou
from wearview.errors import ModelsError
from wearview.parts import beyond
from wearview.parts.beyond import COLUMNS, ROWS, edge_readings, find_beyond, nothing_beyond
from wearview.parts.masks import plate_masks
from wearview.parts.part import Ellipse
from wearview.parts.rims import TURN
from wearview.parts.teeth import Rays, Teeth, cast_rays, find_teeth, no_teeth

SIZE, CENTRE = (900, 900), (450, 450)
RIM, HOLE, TIP, CORE = 300.0, 210.0, 190.0, 204.0
NOTHING_OVER = np.zeros(len(TURN), bool)
OUTER, INNER = (Ellipse(*CENTRE, 2 * r, 2 * r, 0) for r in (RIM, HOLE))


def drawn(count: int, duty: float) -> tuple[np.ndarray, np.ndarray]:
    """RGB of a toothed plate on a noisy bench, and its true mask."""
    y, x = np.mgrid[: SIZE[1], : SIZE[0]] - np.array(CENTRE[::-1], float)[:, None, None]
    radius, turn = np.hypot(x, y), np.arctan2(y, x) / (2 * np.pi) * count % 1
    face = (radius <= RIM) & (radius >= HOLE)
    core = (radius < HOLE) & ((radius >= CORE) | ((radius >= TIP) & (turn < duty)))
    picture = np.where(face[..., None], (130, 95, 60), (70, 90, 110)).astype(float)
    picture[core] = (190, 190, 190)
    noisy = cv2.GaussianBlur(picture, (0, 0), 0.8) + np.random.default_rng(2).normal(0, 3, picture.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8), face | core


def read(rgb8: np.ndarray) -> tuple[Rays, Teeth]:
    rays = cast_rays(rgb8, OUTER, INNER)
    return rays, find_teeth(rays, False, NOTHING_OVER)


@pytest.mark.parametrize(("count", "duty"), [(36, 0.5), (36, 0.3), (24, 0.65)])
def test_teeth_narrow_or_wide_are_in_the_mask(count, duty):
    rgb8, truth = drawn(count, duty)
    rays, teeth = read(rgb8)
    inside = find_beyond(rays, teeth, outward=False)
    outside = find_beyond(rays, no_teeth(1.0), outward=True)
    masks = plate_masks(SIZE[::-1], OUTER, INNER, outside, inside)
    whole = np.zeros(SIZE[::-1], bool)
    x, y = masks.origin
    whole[y : y + masks.part.shape[0], x : x + masks.part.shape[1]] = masks.part
    assert iou(whole, truth) > 0.96  # a pixel all along these edges is 0.03


def test_a_dimmer_lamp_changes_what_is_read_by_little():
    rgb8, _ = drawn(36, 0.5)
    rays, teeth = read(rgb8)
    dim = Rays(rays.rgb * np.float32(0.7), rays.rho, rays.ratio, rays.step * np.float32(0.7))
    bright, dimmed = (edge_readings(r, teeth, outward=False) for r in (rays, dim))
    assert np.abs(bright - dimmed).mean() < 0.15 * np.abs(bright).mean()


def test_each_angle_ends_once():
    rgb8, _ = drawn(36, 0.5)
    rays, teeth = read(rgb8)
    plate = find_beyond(rays, teeth, outward=False).chance > 0.5
    assert plate.shape == (ROWS, COLUMNS)
    assert (np.diff(plate.astype(int), axis=1) <= 0).all()


def test_a_plate_that_ends_at_its_rim_covers_no_place_beyond():
    edge = nothing_beyond()
    offset = np.array([-0.04, -0.003, 0.003, 0.1])
    assert edge.covers(offset, np.array([0.0, 6.28, 3.0, -1.0])).tolist() == [True, True, False, False]
    assert edge.farthest < 0.01


@pytest.mark.parametrize("text", [None, "no weights here", "[[layer]]\nbias = [1]"])
def test_missing_or_damaged_weights_are_said(tmp_path, monkeypatch, text):
    if text is not None:
        (tmp_path / beyond.FILE).write_text(text)
    monkeypatch.setattr(beyond, "models_folder", lambda: tmp_path)
    rays, teeth = read(drawn(36, 0.5)[0])
    with pytest.raises(ModelsError, match=beyond.FILE):
        find_beyond(rays, teeth, outward=False)
