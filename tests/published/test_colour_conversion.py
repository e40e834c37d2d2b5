"""sRGB, Display P3, XYZ and Lab against standards, and against colour-science computing the same."""

import csv
from pathlib import Path

import colour
import numpy as np
import pytest

from wearview.colour import (
    P3_TO_SRGB,
    chroma_hue,
    delta_e,
    lab_to_linear,
    linear_to_lab,
    linear_to_srgb,
    linear_to_xyz,
    p3_to_srgb,
    srgb_to_linear,
)

with Path(__file__).with_name("srgb_lab_d65.csv").open(encoding="utf-8") as file:
    ROWS = list(csv.DictReader(line for line in file if not line.startswith("#")))
D65 = np.array([0.3127, 0.3290])  # ITU-R BT.709


def rgb_of(row: dict[str, str]) -> np.ndarray:
    return np.array([int(row[c]) for c in "rgb"], np.uint8)


@pytest.mark.parametrize(
    ("encoded", "linear"),
    [(0.5, 0.214041), (128 / 255, 0.215861), (10 / 255, 0.00303527), (11 / 255, 0.00334654)],
)
def test_srgb_is_decoded_by_the_standard_curve(encoded, linear):
    # IEC 61966-2-1:1999 formula, to the digits computed from it.
    assert srgb_to_linear(np.array(encoded)) == pytest.approx(linear, abs=1e-6)


@pytest.mark.parametrize(("linear", "encoded"), [(0.18, 0.461356), (0.5, 0.735357)])
def test_srgb_is_encoded_by_the_standard_curve(linear, encoded):
    # IEC 61966-2-1:1999 formula, to the digits computed from it.
    assert linear_to_srgb(np.array(linear)) == pytest.approx(encoded, abs=1e-6)


@pytest.mark.parametrize("row", ROWS, ids=[row["name"] for row in ROWS])
def test_named_colours_have_the_xyz_and_lab_of_the_table(row):
    linear = srgb_to_linear(rgb_of(row))
    xyz = [float(row[c]) for c in "XYZ"]
    lab = [float(row[c]) for c in ("L", "a", "bb")]
    assert linear_to_xyz(linear) == pytest.approx(xyz, abs=1e-4)
    # The table's white is a rounded D65, ours the matrix's own; that moves a and b by up to 0.03.
    assert linear_to_lab(linear) == pytest.approx(lab, abs=0.05)


def test_white_is_100_and_neutral_and_mid_grey_is_50():
    # CIE 15:2004; 119 computed.
    white, grey = linear_to_lab(srgb_to_linear(np.array([[255] * 3, [119] * 3], np.uint8)))
    assert white == pytest.approx([100, 0, 0], abs=0.02)
    assert grey == pytest.approx([50.03, 0, 0], abs=0.02)
    assert grey[0] == pytest.approx(50.03, abs=0.01)


@pytest.mark.parametrize(("luminance", "lightness", "tol"), [(0.001, 0.9033, 1e-4), (0.1845, 50.04, 0.01)])
def test_lightness_follows_both_branches_of_the_formula(luminance, lightness, tol):
    # CIE 15:2004: straight below L* 8, cube root above.
    assert linear_to_lab(np.full(3, luminance))[0] == pytest.approx(lightness, abs=tol)


def test_lab_agrees_with_another_library_on_every_kind_of_colour():
    rgb8 = np.random.default_rng(3).integers(0, 256, (20_000, 3)).astype(np.uint8)
    space = colour.RGB_COLOURSPACES["sRGB"]
    theirs = colour.XYZ_to_Lab(
        colour.RGB_to_XYZ(rgb8 / 255.0, space, apply_cctf_decoding=True), illuminant=D65
    )
    # 0.03 is what the choice of printed white makes.
    np.testing.assert_allclose(linear_to_lab(srgb_to_linear(rgb8)), theirs, atol=0.03)


def test_lab_is_exact_to_a_hundredth_before_the_choice_of_white():
    rgb8 = np.random.default_rng(4).integers(0, 256, (20_000, 3)).astype(np.uint8)
    space = colour.RGB_COLOURSPACES["sRGB"]
    white = space.matrix_RGB_to_XYZ.sum(axis=1)
    theirs = colour.XYZ_to_Lab(
        colour.RGB_to_XYZ(rgb8 / 255.0, space, apply_cctf_decoding=True),
        illuminant=colour.XYZ_to_xy(white),
    )
    np.testing.assert_allclose(linear_to_lab(srgb_to_linear(rgb8)), theirs, atol=0.01)


def test_the_way_back_from_lab_agrees_with_another_library():
    lab = np.random.default_rng(5).uniform((0, -40, -40), (100, 40, 40), (5_000, 3))
    space = colour.RGB_COLOURSPACES["sRGB"]
    white = space.matrix_RGB_to_XYZ.sum(axis=1)
    theirs = (
        colour.Lab_to_XYZ(lab, illuminant=colour.XYZ_to_xy(white)) @ np.linalg.inv(space.matrix_RGB_to_XYZ).T
    )
    np.testing.assert_allclose(lab_to_linear(lab), theirs, atol=1e-5)


def test_chroma_and_hue_agree_with_another_library():
    lab = np.random.default_rng(6).uniform((0, -60, -60), (100, 60, 60), (5_000, 3))
    chroma, hue = chroma_hue(lab)
    theirs = colour.models.Lab_to_LCHab(lab)
    np.testing.assert_allclose(chroma, theirs[:, 1], atol=1e-4)
    np.testing.assert_allclose(hue, theirs[:, 2], atol=1e-3)


def test_srgb_red_written_in_display_p3_has_the_known_codes():
    # Primaries SMPTE EG 432-1 and BT.709, computed with colour-science.
    p3 = np.linalg.inv(P3_TO_SRGB) @ [1.0, 0.0, 0.0]
    assert linear_to_srgb(p3) * 255 == pytest.approx([233.97, 51.01, 35.30], abs=0.1)


def test_a_display_p3_brown_has_the_known_srgb_codes():
    # Same sources; 8-bit output rounds to the nearest code.
    linear = P3_TO_SRGB @ srgb_to_linear(np.array([200, 120, 60], np.uint8))
    assert linear_to_srgb(linear) * 255 == pytest.approx([212.97, 115.02, 42.38], abs=0.1)
    np.testing.assert_array_equal(p3_to_srgb(np.array([[[200, 120, 60]]], np.uint8)), [[[213, 115, 42]]])


def test_ignoring_a_display_p3_profile_costs_what_is_known():
    brown = np.array([200, 120, 60], np.uint8)
    right = linear_to_lab(P3_TO_SRGB @ srgb_to_linear(brown))
    # Computed with colour-science; 0.02 covers the rounded white.
    assert delta_e(linear_to_lab(srgb_to_linear(brown)), right) == pytest.approx(3.39, abs=0.02)


def test_the_display_p3_matrix_follows_from_the_published_primaries():
    p3 = colour.normalised_primary_matrix([[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]], D65)
    srgb = colour.normalised_primary_matrix([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]], D65)
    np.testing.assert_allclose(P3_TO_SRGB, np.linalg.inv(srgb) @ p3, atol=1e-6)
