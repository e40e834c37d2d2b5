"""Glazing: what a textbook says a glazed lining is, held against ours.

Polished with the grain still clear is no glaze; glazed means the grain is hidden under a burnt film (textbook
passage on inspecting dry clutch linings; H. Heisler, Vehicle and Engine Technology, from memory).
"""

import math

import numpy as np
import pytest

from tests.faces import TAN, clean_lining, ring_face, veiled
from wearview.lining import read_glazing

CLEAN = clean_lining(grain=5.0)


def index(grain: float, added: float) -> float:
    return read_glazing(ring_face(veiled(TAN, added), grain=grain), CLEAN).value


def test_sheen_over_a_clear_grain_scores_lower_than_the_same_sheen_without_grain():
    assert index(grain=4.5, added=0.04) < index(grain=0.5, added=0.04) - 30


def test_no_grain_without_sheen_is_a_blurred_photo_and_no_glaze():
    assert index(grain=0.0, added=0.0) == pytest.approx(0, abs=3)  # the two libraries' whites differ a little


def test_sheen_with_the_grain_untouched_is_polish_and_no_glaze():
    assert index(grain=5.0, added=0.08) < 10


def test_the_index_is_never_called_gloss_units():
    # ISO 2813:2014 and ASTM D523 measure gloss with a glossmeter; a photo cannot.
    assert read_glazing(ring_face(), CLEAN).unit == "index 0-100"


@pytest.mark.parametrize(("angle", "reflectance"), [(20, 0.0491), (60, 0.1001), (85, 0.6191)])
def test_grazing_light_shows_sheen_that_light_from_above_hides(angle, reflectance):
    # Fresnel reflectance of the glossmeter's black glass, index 1.567 (ISO 2813:2014), computed to 4
    # decimals: why the sheen of one photo depends on the lamp, and its interval is wide.
    cos_in = math.cos(math.radians(angle))
    cos_out = math.sqrt(1 - (math.sin(math.radians(angle)) / 1.567) ** 2)
    across = (cos_in - 1.567 * cos_out) / (cos_in + 1.567 * cos_out)
    along = (1.567 * cos_in - cos_out) / (1.567 * cos_in + cos_out)
    assert (across**2 + along**2) / 2 == pytest.approx(reflectance, abs=5e-4)
    spread = read_glazing(ring_face(veiled(TAN, 0.02), grain=2.5), CLEAN).spread
    assert np.isfinite(spread)
    assert spread > 2
