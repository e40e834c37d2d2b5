"""CIEDE2000 against the published table and another library."""

from pathlib import Path

import colour
import numpy as np
import pytest

from wearview.colour import delta_e, linear_to_lab, srgb_to_linear

PAIRS = np.loadtxt(Path(__file__).with_name("ciede2000_pairs.csv"), delimiter=",", comments="#", skiprows=2)
TAN = (196, 164, 118)


def lab_of(*rgb8: int, exposure: float | tuple[float, float, float] = 1.0) -> np.ndarray:
    return linear_to_lab(srgb_to_linear(np.array(rgb8, np.uint8)) * np.asarray(exposure, np.float32))


@pytest.mark.parametrize("row", PAIRS, ids=[f"pair {int(row[0])}" for row in PAIRS])
def test_every_published_pair_is_met_to_its_printed_digits(row):
    # Sharma, Wu and Dalal (2005), Table 1; 1e-4 is the last printed digit.
    assert delta_e(row[1:4], row[4:7]) == pytest.approx(row[7], abs=1e-4)


def test_the_published_table_is_whole():
    assert len(PAIRS) == 34


def test_the_published_pairs_can_be_swapped():
    # The formula is symmetric (same paper); our float32 keeps it exactly.
    np.testing.assert_array_equal(
        delta_e(PAIRS[:, 1:4], PAIRS[:, 4:7]), delta_e(PAIRS[:, 4:7], PAIRS[:, 1:4])
    )


def test_another_library_agrees_over_the_colours_of_linings_and_tints():
    rng = np.random.default_rng(7)
    lab = rng.uniform((0, -40, -50), (100, 50, 60), (50_000, 3))
    for clean in ((68.0, 6.0, 28.0), (25.0, 0.5, 0.2), (52.0, -12.0, 9.0)):
        theirs = colour.delta_E(lab, np.broadcast_to(clean, lab.shape), method="CIE 2000")
        # float32 against float64: a thousandth is far below the 0.3 of one 8-bit step.
        np.testing.assert_allclose(delta_e(lab, clean), theirs, atol=1e-3)


def test_one_code_step_on_a_dark_brown_is_about_one():
    # Computed with scikit-image and colour-science.
    assert delta_e(lab_of(40, 30, 25), lab_of(40, 31, 25)) == pytest.approx(1.08, abs=0.02)


@pytest.mark.parametrize(
    ("exposure", "expected"), [(0.8, 5.04), (0.5, 15.6), ((1.1, 1.0, 1.0), 2.80)], ids=["x0.8", "x0.5", "red"]
)
def test_light_that_is_left_in_looks_like_heat_on_a_tan_lining(exposure, expected):
    # Computed with scikit-image and colour-science; 0.05 is the rounding of these figures.
    assert delta_e(lab_of(*TAN, exposure=exposure), lab_of(*TAN)) == pytest.approx(expected, abs=0.05)
