"""Neutral light over a lining's own colour."""

import numpy as np
import pytest

from wearview.colour import delta_e, lab_to_linear, linear_to_lab
from wearview.lining.sheen import veil, without_sheen

TAN, BURNT_TAN = np.array([61.0, 8, 24]), np.array([33.0, 6, 13])
GREY = np.array([50.0, 0.2, 3])


def face(lab: np.ndarray, shine: float = 0.0, n: int = 900) -> np.ndarray:
    """Pixels around a colour with the mottle of fibres, under an even shine."""
    lightness = np.random.default_rng(3).normal(0, 1.5, (n, 1)) * [1, 0, 0]
    return linear_to_lab(lab_to_linear(lab + lightness) + np.float32(shine))


@pytest.mark.parametrize("shine", [0.02, 0.04, 0.06])
def test_a_veil_is_found_on_a_clean_lining_to_the_last_digit(shine: float):
    clean = lab_to_linear(TAN).astype(float)
    added, browned = veil(clean + shine, clean)
    assert added == pytest.approx(shine, abs=1e-9)
    assert browned == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("shine", [0.03, 0.05])
def test_a_shine_hides_part_of_a_burn_and_taking_it_off_shows_some_of_it_again(shine: float):
    true = float(np.median(delta_e(face(BURNT_TAN), TAN)))
    hidden = float(np.median(delta_e(face(BURNT_TAN, shine), TAN)))
    seen = float(np.median(delta_e(without_sheen(face(BURNT_TAN, shine), TAN), TAN)))
    assert true - hidden > 4
    assert hidden + 1 < seen < true + 0.5


def test_a_median_that_is_known_need_not_be_worked_out_again():
    shiny = face(BURNT_TAN, 0.05)
    known = without_sheen(shiny, TAN, usual_lab=np.median(shiny, axis=0))
    np.testing.assert_allclose(known, without_sheen(shiny, TAN), atol=1e-5)
    other = without_sheen(shiny, TAN, usual_lab=np.median(face(BURNT_TAN), axis=0))
    assert np.abs(other - known).max() > 1


@pytest.mark.parametrize("lab", [TAN, BURNT_TAN, TAN - [8, 0, 2]])
def test_a_face_without_a_shine_stays_as_it_is(lab: np.ndarray):
    pixels = face(lab)
    assert without_sheen(pixels, TAN) is pixels


def test_a_grey_lining_cannot_tell_and_stays_as_it_is_where_nothing_is_known_of_a_glaze():
    pixels = face(GREY, 0.05)
    assert without_sheen(pixels, GREY) is pixels


def test_a_glaze_on_a_grey_lining_returns_up_to_what_a_polished_surface_does():
    # 0.04 of the light at a surface of refractive index 1.5, square on: Fresnel's equations.
    fresnel = ((1.5 - 1) / (1.5 + 1)) ** 2
    pixels = face(GREY, 0.5 * fresnel)
    light = [
        float(np.median(lab_to_linear(without_sheen(pixels, GREY, glaze))[:, 1])) for glaze in (0, 0.4, 1)
    ]
    assert light[0] > light[1] > light[2]
    assert 0.25 * fresnel < light[0] - light[2] < fresnel
    burnt = GREY - [15, 0, 0]
    hidden = float(np.median(delta_e(face(burnt, 0.5 * fresnel), GREY)))
    seen = float(np.median(delta_e(without_sheen(face(burnt, 0.5 * fresnel), GREY, 0.75), GREY)))
    true = float(np.median(delta_e(face(burnt), GREY)))
    assert abs(seen - true) < 0.2 * (true - hidden)


def test_as_much_shine_as_an_unglazed_lining_reads_as_is_left_on_a_grey_one():
    pixels = face(GREY, 0.01)
    assert without_sheen(pixels, GREY, 0.2) is pixels
    assert without_sheen(pixels, GREY, 0.3) is not pixels


def test_a_glaze_that_is_known_to_be_there_is_taken_off_a_coloured_lining_beside_what_its_hue_shows():
    shiny = face(BURNT_TAN, 0.04)
    dull, by_hue, glazed = (
        float(np.median(without_sheen(shiny, TAN, glaze)[:, 0])) for glaze in (0.0, None, 1.0)
    )
    assert dull > by_hue > glazed > BURNT_TAN[0]


def test_no_pixel_is_made_black():
    pixels = np.concatenate([face(TAN, 0.08), face(np.array([9.0, 1, 2]), n=30)])
    assert (without_sheen(pixels, TAN)[:, 0] > 0).all()
