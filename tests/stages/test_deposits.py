"""What lies on a steel told from oxide by its surroundings."""

import numpy as np
import pytest

from tests.faces import ANGLE, RADIUS, RING, ring_face
from wearview.grade import grade_steel
from wearview.settings import load_settings
from wearview.steel import read_steel

SETTINGS = load_settings()
BARE, STRAW = np.array((73.0, 0.3, 2.0)), np.array((62.0, 3.0, 19.0))
ALONG = np.abs((ANGLE + 180) % 360 - 180)  # degrees from the photo's +x


def painted(cover):
    """Bare metal with a share of straw's colour, 0..1, by place."""
    return ring_face((BARE + cover[..., None] * (STRAW - BARE)).astype(np.float32), light=1.0)


def sector(half_deg, edge_deg):
    """A coloured sector of the ring, its ends that many degrees wide."""
    return np.clip((half_deg - ALONG) / edge_deg + 0.5, 0, 1)


def test_a_film_that_grows_over_the_face_is_heat_and_one_with_an_edge_is_not():
    # A sector's edge of 1 degree is 2 pixels of a ring 400 across, less than the 2.7 that its colour is
    # averaged over; a gradient over 90 degrees is 130.
    grown, laid = (read_steel(painted(sector(50, edge)), None, SETTINGS) for edge in (90, 1))
    assert grown.area("straw").value > 0.15
    assert grown.area("other").value < 0.02
    assert laid.area("other").value > 0.8 * 100 / 360
    assert laid.area("straw").value < 0.04
    assert laid.hot_spots.count.value == 0
    assert grade_steel(grown, SETTINGS.rules).level == 1
    assert grade_steel(laid, SETTINGS.rules).level == 0


def test_dark_streaks_along_the_sliding_direction_are_transferred_lining():
    streaks = np.isin((RADIUS * 40).astype(int) % 8, (0, 1)) & (ALONG < 60)
    colours = np.where(streaks[..., None], (30.0, 2.0, 4.0), BARE).astype(np.float32)
    seen = read_steel(ring_face(colours, light=1.0), None, SETTINGS)
    there = (streaks & RING).sum() / RING.sum()
    assert seen.area("other").value == pytest.approx(there, abs=0.3 * there)
    assert seen.area("grey").value == 0


def test_an_open_patch_is_said_and_keeps_both_chances(monkeypatch):
    monkeypatch.setattr("wearview.steel.deposits._OPEN", (0.0, 1.0))  # nothing is sure any more
    seen = read_steel(painted(sector(50, 1)), None, SETTINGS)
    grade = grade_steel(seen, SETTINGS.rules)
    assert "varnish or heat colour" in grade.problems
    assert grade.probability[0] == pytest.approx(2 / 3, abs=0.05)
    assert grade.probability[1] == pytest.approx(1 / 3, abs=0.05)
