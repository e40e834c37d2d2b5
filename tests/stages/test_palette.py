"""The heat scale against an outside model of colour vision and the contrast rule of a web standard.

Colour vision deficiency: G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, A physiologically-based model
for simulation of color vision deficiency, IEEE TVCG 15(6), 2009, as computed by colour-science. Contrast:
WCAG 2.1, 1.4.3, ratio of at least 4.5 for text.
"""

import itertools
import warnings

import numpy as np
import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # colour-science warns when the plotting library is absent
    import colour

from wearview.palette import (
    CANNOT_TELL_COLOUR,
    LEVEL_COLOURS,
    LEVEL_PATTERNS,
    colour_of,
    ink_of,
    pattern_of,
    rgb_of,
)

D65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
EYES = ["normal", "Protanomaly", "Deuteranomaly"]


def linear(hex_colour):
    digits = np.array([int(hex_colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return colour.models.eotf_sRGB(digits)


def seen(hex_colour, eyes):
    rgb = linear(hex_colour)
    if eyes != "normal":
        rgb = np.clip(colour.blindness.matrix_cvd_Machado2009(eyes, 1.0) @ rgb, 0, 1)
    xyz = colour.RGB_to_XYZ(rgb, "sRGB", D65, None)
    return colour.XYZ_to_Lab(xyz, D65)


@pytest.mark.parametrize("eyes", EYES)
def test_any_two_levels_stay_apart(eyes):
    for one, other in itertools.combinations(LEVEL_COLOURS, 2):
        assert colour.delta_E(seen(one, eyes), seen(other, eyes)) >= 10


@pytest.mark.parametrize("eyes", EYES)
def test_cannot_tell_looks_like_no_level(eyes):
    for level in LEVEL_COLOURS:
        assert colour.delta_E(seen(CANNOT_TELL_COLOUR, eyes), seen(level, eyes)) >= 10


def test_a_hotter_level_is_darker_by_ten_in_a_grey_print():
    lightness = np.array([seen(level, "normal")[0] for level in LEVEL_COLOURS])
    assert (np.diff(lightness) <= -10).all()


@pytest.mark.parametrize("level", [0, 1, 2, 3, 4, None])
def test_ink_is_legible_on_its_level(level):
    weights = [0.2126, 0.7152, 0.0722]
    luminances = sorted(float(linear(c) @ weights) for c in (colour_of(level), ink_of(level)))
    assert (luminances[1] + 0.05) / (luminances[0] + 0.05) >= 4.5


def test_every_level_and_cannot_tell_have_a_hatch_of_their_own():
    hatches = {pattern_of(level) for level in (0, 1, 2, 3, 4, None)}
    assert len(hatches) == 6
    assert set(LEVEL_PATTERNS) < hatches


def test_a_level_as_eight_bit_numbers_is_its_hex_colour():
    assert "#{:02x}{:02x}{:02x}".format(*rgb_of(3)) == LEVEL_COLOURS[3]
