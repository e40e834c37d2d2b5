"""The light of a photo: what white would be, and how surely it is known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from wearview.colour import srgb_to_linear
from wearview.light import Light, estimate_light, find_neutrals, match_light

BENCH = (120, 92, 70)
NOTHING = np.zeros((480, 640), bool)
TAN = np.array([60.0, 8, 24])


def bench_with(*sheets: tuple[slice, slice, int]) -> NDArray[np.uint8]:
    """A brown bench with grey rectangles on it, with a little noise: nothing real is of one code."""
    photo = np.full((480, 640, 3), BENCH, float)
    for rows, columns, code in sheets:
        photo[rows, columns] = code
    noise = np.random.default_rng(1).normal(0, 1.0, photo.shape)
    return np.clip(np.round(photo + noise), 0, 255).astype(np.uint8)


def light_of(photo: NDArray[np.uint8]) -> Light:
    return estimate_light(photo, NOTHING, NOTHING)


def test_a_sheet_below_the_shoulder_is_read_by_its_code():
    (sheet,) = find_neutrals(bench_with((np.s_[100:220], np.s_[200:380], 200)), NOTHING)
    assert sheet.unrolled == 0
    np.testing.assert_allclose(sheet.white, srgb_to_linear(np.uint8([200] * 3)) / 0.87, rtol=0.01)


def test_a_nearly_white_sheet_stands_for_more_light_than_its_code_and_is_less_sure():
    plain, bright = (light_of(bench_with((np.s_[100:220], np.s_[200:380], code))) for code in (200, 250))
    assert bright.white[1] > 1.05 * float(srgb_to_linear(np.uint8([250]))[0]) / 0.87
    assert bright.level_error > plain.level_error
    assert bright.balance_error > plain.balance_error


def test_a_whole_sheet_is_read_before_a_larger_one_that_the_frame_cuts():
    photo = bench_with((np.s_[100:220], np.s_[200:380], 205), (np.s_[300:480], np.s_[440:640], 190))
    assert not find_neutrals(photo, NOTHING)[0].cut


@pytest.mark.parametrize("gain", [0.5, 0.8])
def test_a_darker_exposure_changes_the_white_and_nothing_else(gain: float):
    codes = [200, round(255 * (gain * (200 / 255) ** 2.2) ** (1 / 2.2))]
    lights = [light_of(bench_with((np.s_[100:220], np.s_[200:380], code))) for code in codes]
    ratio = lights[1].white / lights[0].white
    wanted = srgb_to_linear(np.uint8([codes[1]])) / srgb_to_linear(np.uint8([codes[0]]))
    np.testing.assert_allclose(ratio, np.full(3, wanted[0]), rtol=0.02)


def test_the_light_is_less_sure_the_farther_from_the_sheet():
    light = light_of(bench_with((np.s_[60:200], np.s_[40:220], 200)))
    at = np.linspace(-0.6, 1, 9)
    doubts = [light.uncertainty(TAN, float(x), -0.4) for x in at]
    assert doubts == sorted(doubts)
    assert doubts[-1] > 1.1 * doubts[0]


def test_two_photos_matched_through_the_bench_see_it_alike():
    light, other = (
        Light("none", np.full(3, level), np.zeros(6), 0.5, 0.2, np.array([0.2, 0.1, 0.06]) * level, None)
        for level in (0.5, 0.9)
    )
    matched = match_light(light, other)
    np.testing.assert_allclose(light.bench / matched.white, other.bench / other.white)
    assert matched.method == "reference"


def test_what_a_matched_photo_shares_with_its_reference_is_not_counted_twice():
    def anchor(error: float) -> Light:
        return Light("metal", np.ones(3), np.zeros(6), error, error, np.array([0.2, 0.1, 0.06]), None)

    own = anchor(0.5)
    sure, unsure = (match_light(own, anchor(error)).uncertainty(TAN, 0, 0) for error in (0.01, 0.5))
    assert sure == unsure
