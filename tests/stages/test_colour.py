"""Identities and edges of the conversions; published values are in `tests/published`."""

import numpy as np
import pytest

from wearview.colour import (
    chroma_hue,
    delta_e,
    lab_to_linear,
    linear_to_lab,
    linear_to_srgb,
    linear_to_xyz,
    p3_to_srgb,
    srgb_to_linear,
)

ALL_GREYS = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
ANY_RGB8 = np.random.default_rng(0).integers(0, 256, (40, 50, 3)).astype(np.uint8)


def test_every_code_survives_the_way_there_and_back():
    np.testing.assert_array_equal(np.rint(linear_to_srgb(srgb_to_linear(ANY_RGB8)) * 255), ANY_RGB8)


def test_codes_and_floats_are_decoded_alike():
    np.testing.assert_allclose(srgb_to_linear(ANY_RGB8), srgb_to_linear(ANY_RGB8 / 255.0), atol=1e-7)


def test_lab_survives_the_way_there_and_back():
    linear = srgb_to_linear(ANY_RGB8)
    np.testing.assert_allclose(lab_to_linear(linear_to_lab(linear)), linear, atol=5e-6)


def test_greys_have_no_colour_at_all():
    # float32 leaves 1e-5 at most.
    np.testing.assert_allclose(linear_to_lab(srgb_to_linear(ALL_GREYS))[:, 1:], 0, atol=1e-4)


def test_lightness_rises_with_every_code():
    assert (np.diff(linear_to_lab(srgb_to_linear(ALL_GREYS))[:, 0]) > 0).all()


def test_luminance_of_white_is_one():
    assert linear_to_xyz(np.ones(3))[1] == pytest.approx(1, abs=1e-6)


def test_a_colour_does_not_differ_from_itself():
    lab = linear_to_lab(srgb_to_linear(ANY_RGB8))
    np.testing.assert_array_equal(delta_e(lab, lab), 0)


def test_a_difference_between_greys_is_one_of_lightness_only():
    # Between L* 50 and L* 50 + d the lightness weight is 1 + 0.015 (d/2)^2 / sqrt(20 + (d/2)^2).
    d = np.array([1.0, 5.0, 20.0])
    greys = np.stack([50 + d, 0 * d, 0 * d], axis=-1)
    weight = 1 + 0.015 * (d / 2) ** 2 / np.sqrt(20 + (d / 2) ** 2)
    np.testing.assert_allclose(delta_e(greys, (50.0, 0.0, 0.0)), d / weight, rtol=1e-5)


def test_many_colours_differ_as_each_by_itself():
    few = linear_to_lab(srgb_to_linear(ANY_RGB8)).reshape(-1, 3)[:1000]
    clean = (50.0, 10.0, 25.0)
    many = np.broadcast_to(few, (90, *few.shape))  # 90,000 of them are computed in pieces
    np.testing.assert_array_equal(delta_e(many, clean), np.broadcast_to(delta_e(few, clean), many.shape[:-1]))


def test_what_was_not_measured_stays_unmeasured():
    lab = np.full((2, 2, 3), 50, np.float32)
    lab[0, 1] = np.nan
    difference = delta_e(lab, (40.0, 3.0, 5.0))
    assert np.isnan(difference[0, 1])
    assert np.isfinite(difference[[0, 1, 1], [0, 0, 1]]).all()
    assert np.isnan(linear_to_lab(np.full((1, 3), np.nan))).all()
    assert np.isnan(linear_to_srgb(np.array([np.nan]))).all()


def test_light_beyond_white_and_below_black_is_kept():
    lab = linear_to_lab(np.array([[1.5, 1.5, 1.5], [-0.01, -0.01, -0.01]]))
    assert lab[0, 0] > 100
    assert lab[1, 0] < 0


def test_a_screen_gets_nothing_it_cannot_show():
    np.testing.assert_array_equal(linear_to_srgb(np.array([-0.5, 0.0, 1.0, 7.0])), [0, 0, 1, 1])


def test_conversions_keep_any_leading_shape_and_give_float32():
    for shape in ((3,), (5, 3), (2, 4, 3), (2, 3, 4, 3), (0, 3)):
        linear = srgb_to_linear(np.zeros(shape, np.uint8))
        lab = linear_to_lab(linear)
        results = (linear, lab, lab_to_linear(lab), linear_to_xyz(linear), linear_to_srgb(linear))
        assert {(r.shape, r.dtype.name) for r in results} == {(shape, "float32")}
        assert delta_e(lab, (50, 0, 0)).shape == shape[:-1]


def test_a_view_is_converted_like_its_copy():
    flipped = ANY_RGB8[::-1, ::2]
    np.testing.assert_array_equal(
        linear_to_lab(srgb_to_linear(flipped)), linear_to_lab(srgb_to_linear(flipped.copy()))
    )
    np.testing.assert_array_equal(p3_to_srgb(flipped), p3_to_srgb(flipped.copy()))


def test_an_array_without_three_channels_is_refused():
    for function in (linear_to_xyz, linear_to_lab, lab_to_linear, chroma_hue):
        with pytest.raises(ValueError, match="three channels"):
            function(np.zeros((4, 4)))


def test_hue_runs_from_red_by_yellow_and_a_grey_has_none():
    chroma, hue = chroma_hue([(50, 10, 0), (50, 0, 10), (50, -10, 0), (50, 0, -10), (50, 0, 0)])
    np.testing.assert_allclose(chroma, [10, 10, 10, 10, 0])
    np.testing.assert_allclose(hue[:4], [0, 90, 180, 270])
    assert np.isnan(hue[4])


def test_hue_stays_below_a_full_turn():
    _, hue = chroma_hue((50, 10, -1e-9))
    assert 0 <= hue < 360


def test_display_p3_shares_its_greys_with_srgb():
    np.testing.assert_array_equal(p3_to_srgb(ALL_GREYS[None]), ALL_GREYS[None])


def test_display_p3_colours_look_duller_when_read_as_srgb():
    brown = np.array([[[200, 120, 60]]], np.uint8)
    as_is, _ = chroma_hue(linear_to_lab(srgb_to_linear(brown)))
    right, _ = chroma_hue(linear_to_lab(srgb_to_linear(p3_to_srgb(brown))))
    assert right > as_is
