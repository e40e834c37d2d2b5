"""The lightest lining of a photo tells a light that was read too bright."""

import math

import numpy as np
import pytest

from tests.faces import TAN, clean_lining, ring_face
from wearview.colour import lab_to_linear, linear_to_lab
from wearview.lining import read_lining, read_too_bright
from wearview.settings import load_settings

SETTINGS = load_settings()
CLEAN = clean_lining()


def under(factor, lab=TAN):
    """The colour as it looks where light was read `factor` times too bright."""
    linear = lab_to_linear(np.array([lab], np.float32)) * np.float32(factor)
    return tuple(float(v) for v in linear_to_lab(linear)[0])


def test_a_photo_read_too_bright_is_taken_down_for_all_of_its_plates():
    darker = (51.0, 8.0, 24.0)
    faces = [ring_face(under(1.3), light=5.0), ring_face(under(1.3, darker), light=5.0)]
    off = read_too_bright(faces, CLEAN)
    # The lightest plate is left as light as a clean one may come out, 2 L* over it.
    readings = [read_lining(face, CLEAN, SETTINGS, off) for face in faces]
    assert readings[0].delta_l_median.value == pytest.approx(2.0, abs=0.01)
    assert readings[1].delta_l_median.value == pytest.approx(-10 + 2.0, abs=0.5)
    assert readings[1].too_bright == off


def test_light_is_taken_down_as_light_is():
    [face] = [ring_face(under(1.2), light=9.0)]
    dark = ring_face(under(1.2 / math.exp(read_too_bright([face], CLEAN))), light=9.0)
    expected = np.median(dark.colours, axis=0)
    reading = read_lining(face, CLEAN, SETTINGS, read_too_bright([face], CLEAN))
    assert reading.delta_l_median.value == pytest.approx(expected[0] - TAN[0], abs=0.02)


def test_a_photo_with_no_plate_lighter_than_clean_stays_as_read():
    assert read_too_bright([ring_face((40.0, 7.0, 15.0), light=5.0)], CLEAN) == 0
    assert read_too_bright([ring_face((62.9, 8.0, 24.0), light=5.0)], CLEAN) == 0
    assert read_too_bright([], CLEAN) == 0


def test_more_than_the_light_can_be_off_is_not_put_on_the_light():
    assert read_too_bright([ring_face(under(1.3), light=5.0)], CLEAN) > 0
    assert read_too_bright([ring_face(under(1.3), light=1.0)], CLEAN) == 0


def test_another_hue_is_another_lining_and_says_nothing_of_the_light():
    assert read_too_bright([ring_face((68.0, -6.0, 12.0), light=3.0)], CLEAN) == 0


def test_the_cleanest_part_is_its_own_measure():
    assert read_too_bright([ring_face(under(1.3), light=5.0)], clean_lining(source="cleanest part")) == 0
