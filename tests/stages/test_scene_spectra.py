"""Spectra of the known colours: what they are in daylight, and that lamps and sensors tell apart what it does
not."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from colour.colorimetry import sd_to_XYZ_integration

from tests.scenes.colours import delta_e00, linear_srgb_to_lab
from tests.scenes.spectra import (
    CHART_EDITION,
    LAMPS,
    NM,
    SENSORS,
    SeenInks,
    chart_spectra,
    in_daylight,
    lining_spectrum,
    random_dyes,
    sight,
)
from wearview.mat.chart import published_linear

TAN = np.array([60.0, 8.0, 25.0])


def test_the_charts_spectra_have_about_its_published_colours():
    # Another copy of the chart than the one whose colours are published, and no light beyond 680 nm.
    off = delta_e00(
        linear_srgb_to_lab(in_daylight(chart_spectra())), linear_srgb_to_lab(published_linear(CHART_EDITION))
    )
    assert np.mean(off) < 1.5
    assert np.max(off) < 2.5


def test_a_linings_spectrum_has_its_colour_by_the_librarys_own_integration():
    spectrum = colour.SpectralDistribution(lining_spectrum(TAN), NM)
    daylight = colour.SDS_ILLUMINANTS["D65"].copy().align(spectrum.shape)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(spectrum.shape)
    xyz = sd_to_XYZ_integration(spectrum, observer, daylight) / 100
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    # Within what the light beyond 680 nm, left out here, is worth.
    assert delta_e00(np.asarray(colour.XYZ_to_Lab(xyz, white)), TAN) < 0.5


@pytest.mark.parametrize("lamp", LAMPS)
@pytest.mark.parametrize("sensor", SENSORS)
def test_white_is_white_and_greys_stay_grey_under_every_lamp(lamp, sensor):
    seen = sight(lamp, sensor).seen(np.array([1.0, 0.18])[:, None] * np.ones_like(NM))
    np.testing.assert_allclose(seen, [[1.0] * 3, [0.18] * 3], atol=1e-9)


def test_an_ink_and_a_lining_alike_in_daylight_are_not_alike_under_a_lamp():
    dyes = random_dyes(np.random.default_rng(5))
    ink = dyes.reflectance(np.array([0.5, 0.35, 0.18]))
    lining = lining_spectrum(linear_srgb_to_lab(in_daylight(ink)))
    assert delta_e00(*(linear_srgb_to_lab(in_daylight(r)) for r in (ink, lining))) < 0.1
    by = sight("shop tube", SENSORS[0])
    assert delta_e00(*(linear_srgb_to_lab(by.seen(r)) for r in (ink, lining))) > 1


def test_a_print_seen_by_a_sensor_is_what_its_inks_send_back():
    dyes, by = random_dyes(np.random.default_rng(6)), sight("warm LED", SENSORS[1])
    asked = np.array([[[1.0, 1.0, 1.0], [0.36, 0.16, 0.04]]])  # whole codes of the square root
    np.testing.assert_allclose(SeenInks(dyes, by).printed(asked), by.seen(dyes.reflectance(asked)), atol=2e-3)
