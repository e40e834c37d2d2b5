"""The light of a photo: what white would be, and how surely it is known."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from wearview.colour import srgb_to_linear
from wearview.light import Light, estimate_light, find_neutrals, match_light, of_other_sheet
from wearview.light.estimate import USED_STEEL
from wearview.light.tone import PLAIN, USUAL

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
    np.testing.assert_allclose(sheet.white, USUAL.decoded(np.full(3, 200 / 255)) / 0.87, rtol=0.005)


def test_an_unknown_phone_is_taken_to_deepen_shadows_and_to_lift_lights():
    codes = np.array([0, 60, 128, 200, 255]) / 255
    over = USUAL.decoded(codes) - PLAIN.decoded(codes)
    assert over[[0, 4]] == pytest.approx([0, 0], abs=1e-9)
    assert over[2] == pytest.approx(0, abs=1e-3)  # the middle of the codes is where it was
    assert over[1] > 0 > over[3]
    assert np.abs(over).max() < 0.03


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
    photo = bench_with((np.s_[100:220], np.s_[200:380], 200))
    linear = srgb_to_linear(photo).astype(float)
    dark = np.round(255 * (1.055 * (gain * linear) ** (1 / 2.4) - 0.055)).astype(np.uint8)
    lights = [light_of(photo), light_of(dark)]
    np.testing.assert_allclose(lights[1].white / lights[0].white, np.full(3, gain), rtol=0.02)


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


@pytest.mark.parametrize(("brighter", "method"), [(1.5, "reference"), (4.0, "metal")])
def test_a_bench_of_one_hue_that_steel_says_is_another_is_not_taken_for_one(brighter, method):
    own, clean = (
        Light("metal", np.ones(3), np.zeros(6), 0.6, 0.07, np.array([0.2, 0.18, 0.16]) * bench, metal)
        for bench, metal in ((brighter, np.full(3, 0.2) * USED_STEEL), (1.0, np.full(3, 0.2)))
    )
    matched = match_light(own, clean)
    assert matched.method == method
    np.testing.assert_allclose(matched.white, 1.5 if method == "reference" else 1.0)


def test_two_photos_matched_through_an_uneven_bench_are_less_sure():
    def on_bench(scatter: float) -> Light:
        bench = np.array([0.2, 0.1, 0.06])
        return Light("none", np.ones(3), np.zeros(6), 0.5, 0.2, bench, None, bench_scatter=scatter)

    even, uneven = (match_light(on_bench(scatter), on_bench(0.02)).level_error for scatter in (0.02, 0.26))
    assert even < 0.3
    assert uneven > 0.5


def test_an_even_bench_scatters_less_than_a_stained_one():
    even = bench_with()
    stains = np.random.default_rng(2).uniform(0.7, 1.0, (12, 16)).repeat(40, axis=0).repeat(40, axis=1)
    stained = np.round(even * stains[..., None]).astype(np.uint8)
    assert light_of(even).bench_scatter < 0.02
    assert light_of(stained).bench_scatter > 0.05


def brighter_to_the_right(what: NDArray[np.bool_], sheet: tuple[slice, slice]) -> NDArray[np.uint8]:
    """A bench with a sheet, of which `what` is up to 1.7 times as bright at its right as at its left."""
    linear = srgb_to_linear(bench_with((*sheet, 170))).astype(float)
    linear *= np.where(what, np.linspace(0.75, 1.3, 640), 1.0)[..., None]
    return np.round(255 * (1.055 * np.clip(linear, 0.003, 1) ** (1 / 2.4) - 0.055)).astype(np.uint8)


def test_a_bench_that_shines_where_its_sheet_does_not_says_nothing_of_the_light():
    sheet = np.s_[140:340, 60:420]
    all_of_it, on_sheet = np.ones((480, 640), bool), np.zeros((480, 640), bool)
    on_sheet[sheet] = True
    ends = np.array([-0.8, 0.9]), np.zeros(2)
    lit, shining = (light_of(brighter_to_the_right(what, sheet)) for what in (all_of_it, ~on_sheet))
    dim, bright = lit.level(*ends)
    assert bright / dim == pytest.approx(1.3 / 0.75, rel=0.15)
    dim, bright = shining.level(*ends)
    assert bright / dim == pytest.approx(1, abs=0.05)


def test_a_bench_that_scatters_as_metal_does_is_half_believed():
    shade = np.linspace(0.7, 1.3, 640)[None, :, None]
    grains = np.random.default_rng(5).uniform(0.6, 1.4, (12, 16)).repeat(40, axis=0).repeat(40, axis=1)
    even, metal = (
        np.round(bench_with() * shade * stains[..., None]).clip(0, 255).astype(np.uint8)
        for stains in (np.ones((480, 640)), grains)
    )
    ends = np.array([-0.8, 0.8]), np.zeros(2)
    (dim, bright), (dim_metal, bright_metal) = (light_of(photo).level(*ends) for photo in (even, metal))
    assert 0.2 < np.log(bright_metal / dim_metal) / np.log(bright / dim) < 0.8


def test_what_a_matched_photo_shares_with_its_reference_is_not_counted_twice():
    def anchor(error: float) -> Light:
        return Light("metal", np.ones(3), np.zeros(6), error, error, np.array([0.2, 0.1, 0.06]), None)

    own = anchor(0.5)
    sure, unsure = (match_light(own, anchor(error)).uncertainty(TAN, 0, 0) for error in (0.01, 0.5))
    assert sure == unsure


def test_steel_beside_used_plates_is_taken_to_be_duller_than_a_clean_plates():
    def with_metal(level: float) -> Light:
        return Light("none", np.ones(3), np.zeros(6), 0.5, 0.2, None, np.full(3, level))

    matched = match_light(with_metal(0.2), with_metal(0.25))
    assert (matched.method, matched.shared) == ("metal", True)
    np.testing.assert_allclose(matched.white, 0.8 / USED_STEEL)


def test_a_bright_sheet_is_paper_and_one_as_dark_as_the_bench_is_a_card():
    paper, card = (
        find_neutrals(bench_with((np.s_[100:220], np.s_[200:380], code)), NOTHING)[0] for code in (200, 112)
    )
    assert (paper.kind, card.kind) == ("paper", "card")


def test_a_sheet_that_may_be_either_leaves_the_light_unsure():
    sure, unsure = (light_of(bench_with((np.s_[100:220], np.s_[200:380], code))) for code in (205, 154))
    assert unsure.uncertainty(TAN, 0, 0) > 10 * sure.uncertainty(TAN, 0, 0)


def test_read_as_the_other_sheet_white_is_as_much_darker_or_brighter_as_a_card_is():
    # Office paper of 0.87 and a grey card of 0.18: see `REFLECTANCE`.
    paper = light_of(bench_with((np.s_[100:220], np.s_[200:380], 205)))
    card = of_other_sheet(paper)
    assert (paper.method, card.method) == ("paper", "card")
    np.testing.assert_allclose(card.white / paper.white, 0.87 / 0.18)
    np.testing.assert_allclose(of_other_sheet(card).white, paper.white)


def blotched(dark: float) -> NDArray[np.uint8]:
    """A grey bench with soft blotches, and a smooth sheet on it of the bench's middle brightness."""
    rng = np.random.default_rng(4)
    blotches = cv2.GaussianBlur(rng.normal(0, 1, (480, 640)), (0, 0), 6)
    photo = np.repeat((112 + dark * blotches / blotches.std())[..., None], 3, axis=2)
    photo[120:260, 180:400] = 112
    return np.clip(np.round(photo + rng.normal(0, 1, photo.shape)), 0, 255).astype(np.uint8)


def test_a_sheet_as_bright_as_its_bench_is_found_by_how_even_it_is():
    (sheet,) = find_neutrals(blotched(18), NOTHING)
    assert sheet.kind == "card"
    assert sheet.centre == pytest.approx((290, 190), abs=6)
    assert sheet.mask.sum() > 0.8 * 140 * 220
    np.testing.assert_allclose(sheet.white, srgb_to_linear(np.uint8([112] * 3)) / 0.18, rtol=0.02)


def test_a_tile_between_joints_is_no_sheet_and_leaves_one_that_the_frame_cuts():
    # Both would pass for a card, and the tile is whole and the larger of the two.
    joints = [(np.s_[at : at + 5], slice(None)) for at in (40, 300)]
    joints += [(slice(None), np.s_[at : at + 5]) for at in (60, 380)]
    whole = [(np.s_[:480], np.s_[:640], 90)]
    tiled = bench_with(*whole, *((*joint, 140) for joint in joints))
    assert find_neutrals(tiled, NOTHING) == []
    beside = bench_with(*whole, *((*joint, 140) for joint in joints), (np.s_[120:260], np.s_[430:640], 180))
    [card] = find_neutrals(beside, NOTHING)
    assert card.cut
    assert card.centre == pytest.approx((534, 190), abs=6)


def test_an_even_patch_that_has_no_four_corners_is_no_sheet():
    photo = blotched(18)
    bench = photo[260:].copy()
    photo[100:320] = bench
    y, x = np.mgrid[:480, :640]
    photo[np.hypot(x - 290, y - 210) < 90] = 112
    assert find_neutrals(photo, NOTHING) == []


def test_teeth_in_view_speak_for_a_card_when_paper_would_make_them_too_bright():
    photo = bench_with((np.s_[100:220], np.s_[200:380], 160))
    sheet = float(srgb_to_linear(np.uint8([160]))[0])
    by_teeth = [find_neutrals(photo, NOTHING, teeth * sheet)[0].kind for teeth in (0.28, 1.4)]
    assert by_teeth == ["paper", "card"]


def test_a_small_thing_that_the_frame_cuts_is_no_sheet():
    small, large = (bench_with((np.s_[150:260], np.s_[:width], 200)) for width in (90, 240))
    assert find_neutrals(small, NOTHING) == []
    assert find_neutrals(large, NOTHING)[0].cut


def test_parts_that_would_outshine_any_steel_beside_paper_make_the_sheet_a_card():
    photo = bench_with((np.s_[100:220], np.s_[200:380], 165), (np.s_[260:400], np.s_[300:500], 160))
    part = NOTHING.copy()
    part[260:400, 300:500] = True
    assert find_neutrals(photo, NOTHING)[0].kind == "paper"
    assert find_neutrals(photo, part)[0].kind == "card"
