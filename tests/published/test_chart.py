"""The 24-patch chart's published colours, against another library's own copy and its conversions."""

import csv
from pathlib import Path

import colour
import numpy as np
import pytest

from wearview.colour import delta_e, lab_d50_to_linear, lab_to_linear, linear_to_lab, linear_to_srgb
from wearview.mat.chart import published_lab_d50, published_linear, published_names
from wearview.terms import CHART_EDITIONS

AFTER, BEFORE = CHART_EDITIONS
DATASETS = {
    AFTER: "ColorChecker24 - After November 2014",
    BEFORE: "ColorChecker24 - Before November 2014",
}
WHITES = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
TABLE = Path(__file__).parent / "chart24_lab_d50.csv"


def library_lab(edition):
    """CIELAB under D50 by colour-science from its own chromaticities."""
    data = colour.CCS_COLOURCHECKERS[DATASETS[edition]]
    return colour.XYZ_to_Lab(colour.xyY_to_XYZ(np.array(list(data.data.values()))), data.illuminant)


def library_linear(edition):
    """Linear sRGB by colour-science from its own chromaticities, Bradford from D50 to D65."""
    data = colour.CCS_COLOURCHECKERS[DATASETS[edition]]
    xyz = colour.xyY_to_XYZ(np.array(list(data.data.values())))
    whites = (colour.xy_to_XYZ(xy) for xy in (data.illuminant, WHITES["D65"]))
    adapted = colour.adaptation.chromatic_adaptation_VonKries(xyz, *whites, "Bradford")
    return colour.XYZ_to_sRGB(adapted, apply_cctf_encoding=False)


def test_the_shipped_table_is_the_published_one():
    lines = TABLE.read_text("utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert published_names() == tuple(row["name"] for row in rows)
    for edition, which in ((AFTER, "after"), (BEFORE, "before")):
        typed = [[float(row[f"{axis}_{which}"]) for axis in "Lab"] for row in rows]
        assert published_lab_d50(edition).tolist() == typed


@pytest.mark.parametrize("edition", CHART_EDITIONS)
def test_another_library_has_the_same_colours(edition):
    # The table has two decimals; the library's chromaticities have four.
    assert published_lab_d50(edition) == pytest.approx(library_lab(edition), abs=0.02)


def test_editions_differ_as_published():
    # Check CC-1: mean 0.848, max 1.951 (white), median 0.769, of the library's unrounded colours.
    off = delta_e(library_lab(AFTER), library_lab(BEFORE))
    assert off.mean() == pytest.approx(0.848, abs=0.005)
    assert off.max() == pytest.approx(1.951, abs=0.005)
    assert np.median(off) == pytest.approx(0.769, abs=0.005)
    assert published_names()[int(off.argmax())] == "white 9.5"
    # Two decimals in the shipped table: up to 0.01 off in each of six numbers.
    assert delta_e(published_lab_d50(AFTER), published_lab_d50(BEFORE)) == pytest.approx(off, abs=0.015)


@pytest.mark.parametrize(("edition", "worst"), [(AFTER, 3.41), (BEFORE, 2.89)])
def test_eight_bit_lists_of_the_chart_are_off_by_what_clipping_takes(edition, worst):
    # Check CC-2: round trip through clipped 8-bit sRGB, mean 0.31, worst cyan, counted under D50.
    codes = np.rint(linear_to_srgb(published_linear(edition)) * 255)
    back = colour.sRGB_to_XYZ(codes / 255, WHITES["D50"], chromatic_adaptation_transform="Bradford")
    off = delta_e(colour.XYZ_to_Lab(back, WHITES["D50"]), library_lab(edition))
    assert off.max() == pytest.approx(worst, abs=0.02)
    assert published_names()[int(off.argmax())] == "cyan"
    assert off.mean() == pytest.approx(0.31, abs=0.02)


def test_neutral_5_stays_neutral_under_d65():
    # Check CC-3: patch 22 after 2014, D50 50.76 -0.13 0.14.
    lab = linear_to_lab(published_linear(AFTER)[21])
    assert lab[0] == pytest.approx(50.76, abs=0.1)
    assert np.abs(lab[1:]).max() < 0.5


@pytest.mark.parametrize("edition", CHART_EDITIONS)
def test_bradford_to_d65_is_the_other_librarys(edition):
    # 0.02 in Lab of the table's rounding is about 0.001 in linear light.
    assert published_linear(edition) == pytest.approx(library_linear(edition), abs=0.002)


def test_white_stays_white_under_either_white():
    assert lab_d50_to_linear([100.0, 0, 0]) == pytest.approx([1, 1, 1], abs=1e-5)
    assert lab_d50_to_linear([50.0, 0, 0]) == pytest.approx(lab_to_linear([50.0, 0, 0]), abs=1e-5)
