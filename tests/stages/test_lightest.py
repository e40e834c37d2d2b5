"""The lightest lining of a photo tells a light that was read too bright."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.faces import TAN, clean_lining, ring_face
from wearview.colour import lab_to_linear, linear_to_lab
from wearview.light import Light
from wearview.lining import read_lining, read_too_bright, settle_sheet
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


SHEET = Light("paper", np.full(3, 0.5), np.zeros(6), 0.08, 0.03, None, None, (0.0, 0.0), sheet_odds=3.0)
AS_MUCH = 0.87 / 0.18  # paper over a grey card


def test_a_card_taken_for_paper_is_told_by_a_lining_far_lighter_than_clean():
    burnt = (35.0, 7.0, 14.0)
    settled = settle_sheet(SHEET, [ring_face(under(AS_MUCH, burnt)), ring_face(under(AS_MUCH))], CLEAN)
    assert settled.method == "card"
    np.testing.assert_allclose(settled.white, SHEET.white * AS_MUCH)
    assert settled.uncertainty(np.array(TAN), 0, 0) < 0.1 * SHEET.uncertainty(np.array(TAN), 0, 0)


def test_a_card_that_no_paper_could_be_is_sure():
    card = replace(SHEET, method="card")
    settled = settle_sheet(card, [ring_face((50.0, 8.0, 20.0))], CLEAN)
    np.testing.assert_array_equal(settled.white, card.white)
    assert settled.sheet_odds == math.inf


@pytest.mark.parametrize(
    ("light", "lab", "clean"),
    [
        (SHEET, (30.0, 6.0, 12.0), CLEAN),  # a card would leave it darker still: both may be
        (replace(SHEET, sheet_odds=9.0), under(AS_MUCH), CLEAN),  # surely paper: something else is wrong
        (SHEET, under(AS_MUCH, (61.0, -25.0, 10.0)), CLEAN),  # another lining
        (SHEET, under(AS_MUCH), clean_lining(light=40.0)),  # the clean one is not known either
    ],
)
def test_a_sheet_that_the_linings_cannot_tell_stays_as_it_was(light, lab, clean):
    assert settle_sheet(light, [ring_face(lab)], clean) is light
    assert settle_sheet(light, [], clean) is light
