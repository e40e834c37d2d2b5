"""Rings and ribbons about what the network sees lie where it sees it, and nowhere else."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from wearview.parts.learned import BAND_LINING, LABELS, LINING, STEEL, Sight
from wearview.parts.plane import Plane
from wearview.parts.proposed import ribbons_seen, ring_sets_seen

CELLS = (144, 192)  # rows, columns
TO_WORKING, TO_SMALL = 8.0, 2.0  # working-copy pixels per cell; per small-copy pixel
FROM_ABOVE = Plane(768, 576, 700.0, (0.0, 0.0))
RADII = (20.0, 300.0)


def sight_of(chance: np.ndarray, offset: np.ndarray | None = None) -> Sight:
    chance[0] = 1 - chance[1:].sum(axis=0)
    return Sight(chance, np.zeros((2, *CELLS), np.float32) if offset is None else offset, TO_WORKING)


def ring(label: int, cx: float, cy: float, inner: float, outer: float) -> tuple[np.ndarray, np.ndarray]:
    """A ring-shaped face, in cells, whose offsets point to its centre."""
    chance = np.zeros((len(LABELS), *CELLS), np.float32)
    y, x = np.mgrid[: CELLS[0], : CELLS[1]]
    far = np.hypot(x - cx, y - cy)
    chance[label] = np.clip(outer - far + 0.5, 0, 1) * np.clip(far - inner + 0.5, 0, 1)
    return chance, np.stack([cx - x, cy - y]).astype(np.float32)


def small(cells: float) -> float:
    """Cells in pixels of the small copy."""
    return cells * TO_WORKING / TO_SMALL


@pytest.mark.parametrize("label", [LINING, STEEL])
def test_rings_lie_on_the_rims_of_a_face_whose_centre_was_voted_a_little_off(label):
    chance, offset = ring(label, 90.0, 70.0, 20.0, 30.0)
    (found,) = ring_sets_seen(sight_of(chance, offset + 2), FROM_ABOVE, TO_SMALL, RADII)
    assert np.hypot(found.x - small(90.5) + 0.5, found.y - small(70.5) + 0.5) < 1.0
    assert [r.radius for r in found.rings] == pytest.approx([small(20), small(30)], abs=2.5)


def test_a_third_of_a_face_under_a_rag_does_not_move_its_rings():
    chance, offset = ring(LINING, 90.0, 70.0, 20.0, 30.0)
    chance[:, :, 98:] = 0
    (found,) = ring_sets_seen(sight_of(chance, offset), FROM_ABOVE, TO_SMALL, RADII)
    assert np.hypot(found.x - small(90.5) + 0.5, found.y - small(70.5) + 0.5) < 3.0
    assert [r.radius for r in found.rings] == pytest.approx([small(20), small(30)], abs=4.0)


def test_a_bench_without_a_face_has_neither_rings_nor_ribbons():
    bare = sight_of(np.zeros((len(LABELS), *CELLS), np.float32))
    assert ring_sets_seen(bare, FROM_ABOVE, TO_SMALL, RADII) == []
    assert ribbons_seen(bare, TO_SMALL) == []


@pytest.mark.parametrize("turn", [0.0, 25.0, 90.0, 160.0])
def test_a_ribbon_lies_along_a_band_however_it_is_turned(turn):
    box = cv2.boxPoints(((95.0, 70.0), (110.0, 14.0), turn))
    chance = np.zeros((len(LABELS), *CELLS), np.float32)
    chance[BAND_LINING] = cv2.fillPoly(np.zeros(CELLS, np.float32), [np.rint(box).astype(np.int32)], 1.0)
    (ribbon,) = ribbons_seen(sight_of(chance), TO_SMALL)
    assert ribbon.width == pytest.approx(small(15), abs=small(1))
    assert ribbon.high - ribbon.low == pytest.approx(small(110), abs=small(2))
    middle = ribbon.at(np.array(0.0), np.array(0.0))
    np.testing.assert_allclose(middle, [small(95.5) - 0.5, small(70.5) - 0.5], atol=small(0.6))
    assert ribbon.along[np.abs(ribbon.along).argmax()] > 0  # to the right, or down


def test_a_square_patch_of_lining_is_no_band():
    chance = np.zeros((len(LABELS), *CELLS), np.float32)
    chance[BAND_LINING, 40:70, 60:90] = 1
    assert ribbons_seen(sight_of(chance), TO_SMALL) == []
