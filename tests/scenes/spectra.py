"""What a phone's sensor makes of chart, ink and lining in a given lamp, by their spectra.

Two things of one colour under daylight are two colours for another lamp or sensor: what that costs is not
seen in scenes of three channels. Lamps are CIE illuminants (CIE 015:2018), sensors two cameras measured by a
national laboratory, the chart's 24 spectra measured too; all come with colour-science. Inks are three dyes
and a black with bell-shaped absorption, linings smooth spectra of their colour: models.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import colour
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import expit

from tests.scenes.colours import lab_to_linear_srgb

Array = NDArray[np.float64]
Field = NDArray[np.float32]

NM = np.arange(400.0, 681.0, 10.0)  # both sensors cover this
_SHAPE = colour.SpectralShape(400, 680, 10)
# Lamp, and how far a phone takes it for warm: it mixes its two colour matrices, made for incandescent light
# and for daylight, by that share (as raw converters do; from memory).
LAMPS = {
    "warm LED": ("LED-B1", 1.0),
    "cold LED": ("LED-B5", 0.0),
    "window": ("D65", 0.0),
    "flash": ("LED-B4", 0.1),
    "shop tube": ("FL11", 0.4),
    "lamp at one side": ("LED-B2", 0.8),
}
SENSORS = tuple(colour.MSDS_CAMERA_SENSITIVITIES)
CHART_EDITION = "before-2014"  # of the chart whose spectra these are
_CHART = "ColorChecker N Ohta"


def chart_spectra() -> Array:
    """Reflectances, shape (24, N), of a chart made before November 2014."""
    return np.array([_sampled(sd) for sd in colour.SDS_COLOURCHECKERS[_CHART].values()])


def lining_spectrum(lab: Array) -> Array:
    """A smooth reflectance, shape (N,), of this CIELAB colour under D65.

    A logistic curve of a parabola in wavelength (W. Jakob and J. Hanika, Computer Graphics Forum 38(2), 2019;
    from memory): browns and chars rise evenly towards red, as burnt cellulose does.
    """
    wanted, u = lab_to_linear_srgb(lab), (NM - 540) / 140
    curve = np.stack([np.ones_like(u), u, u * u])

    def off(terms: Array) -> Array:
        return np.cbrt(in_daylight(expit(terms @ curve))) - np.cbrt(wanted)

    return np.asarray(expit(least_squares(off, np.zeros(3)).x @ curve))


def in_daylight(reflectance: Array) -> Array:
    """What it is: linear sRGB under D65, shape (..., 3), by the CIE 1931 observer."""
    observer = np.asarray(_aligned(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]).values)
    weight = observer * _lamp("D65")[:, None]
    white = np.array([0.95047, 1.0, 1.08883])  # of D65 in sRGB, so that white is 1, 1, 1
    xyz = reflectance @ weight / weight.sum(axis=0) * white
    return np.asarray(xyz @ np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB).T)


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """A sensor under a lamp: white balanced, mixed by the phone's own colour matrix.

    ``weight`` is of shape (N, 3), each column summing to 1; ``matrix`` (3, 3), rows summing to 1.
    """

    weight: Array
    matrix: Array

    def seen(self, reflectance: Array) -> Array:
        """Linear RGB, shape (..., 3), beside a perfect white."""
        return np.maximum(reflectance @ self.weight @ self.matrix.T, 0.002)


def sight(lamp: str, sensor: str) -> Sight:
    """The sensor under one of `LAMPS`."""
    name, warm = LAMPS[lamp]
    matrix = warm * _phone_matrix("A", sensor) + (1 - warm) * _phone_matrix("D65", sensor)
    return Sight(_weight(name, sensor), matrix)


@cache
def _phone_matrix(illuminant: str, sensor: str) -> Array:
    """From balanced channels to sRGB as a maker fits it: least squares over the chart, white kept."""
    chart = chart_spectra()
    channels, wanted = chart @ _weight(illuminant, sensor), in_daylight(chart)
    rows = []
    for k in range(3):
        # r = g + a (r - g) + b (b - g) in each row: three weights that sum to 1 are two free ones.
        free = np.delete(channels, k, axis=1) - channels[:, [k]]
        solved = np.linalg.lstsq(free, wanted[:, k] - channels[:, k], rcond=None)[0]
        rows.append(np.insert(solved, k, 1 - solved.sum()))
    return np.array(rows)


@cache
def _weight(illuminant: str, sensor: str) -> Array:
    sensitivity = np.asarray(_aligned(colour.MSDS_CAMERA_SENSITIVITIES[sensor]).values)
    weight = sensitivity * _lamp(illuminant)[:, None]
    return np.asarray(weight / weight.sum(axis=0))


@cache
def _lamp(illuminant: str) -> Array:
    return _sampled(colour.SDS_ILLUMINANTS[illuminant])


def _sampled(sd: colour.SpectralDistribution) -> Array:
    return np.asarray(_aligned(sd).values, np.float64)


def _aligned(spectra: colour.SpectralDistribution) -> colour.SpectralDistribution:
    return spectra.copy().align(_SHAPE)


@dataclass(frozen=True, slots=True, eq=False)
class Dyes:
    """What a printer lays down for the colours that it is asked for.

    ``paper`` is of shape (N,); ``dyes`` (3, N) are the densities of full red, green and blue absorption;
    ``black`` is what full ink still sends back, ``gain`` an exponent on the asked reflectance.
    """

    paper: Array
    dyes: Array
    black: float
    gain: float

    def reflectance(self, asked: NDArray[np.floating]) -> Array:
        """Shape (..., N) of linear colours asked for, shape (..., 3). Greys take black ink alone."""
        density = -np.log10(np.clip(asked, 0.015, 1) ** self.gain)
        grey = density.min(axis=-1, keepdims=True)
        light = 10 ** -(grey + (density - grey) @ self.dyes)
        return np.asarray((self.black + (1 - self.black) * light) * self.paper)


def random_dyes(rng: Generator) -> Dyes:
    """Some home printer on some office paper, as `printed.random_inks`."""
    level, blue = rng.uniform(0.82, 0.92), rng.uniform(0.0, 0.04)
    paper = level * (1 + blue * np.clip((500 - NM) / 60, -0.2, 1))
    peaks = np.array([630.0, 542.0, 437.0]) + rng.normal(0, 8, 3)
    widths = np.array([52.0, 38.0, 42.0]) * rng.uniform(0.9, 1.15, 3)
    dyes = np.exp(-0.5 * ((NM - peaks[:, None]) / widths[:, None]) ** 2)
    dyes += rng.uniform(0.03, 0.12, (3, 1))  # no dye is clear where it should be
    return Dyes(paper, dyes, float(rng.uniform(0.025, 0.06)), float(rng.uniform(1.0, 1.3)))


@dataclass(frozen=True, slots=True, eq=False)
class SeenInks:
    """A print as a sensor sees it under a lamp; takes the place of `printed.Inks`."""

    dyes: Dyes
    by: Sight

    @property
    def paper(self) -> tuple[float, float, float]:
        """Of the bare sheet."""
        red, green, blue = (float(v) for v in self.by.seen(self.dyes.paper))
        return red, green, blue

    def printed(self, asked: NDArray[np.floating]) -> Field:
        """As `printed.Inks.printed`."""
        codes = np.round(np.sqrt(np.clip(asked, 0, 1)) * 255).astype(np.int64) @ np.array([65536, 256, 1])
        kinds, of = np.unique(codes, return_inverse=True)
        linear = (np.stack([kinds >> 16, kinds >> 8 & 255, kinds & 255], axis=-1) / 255.0) ** 2
        return self.by.seen(self.dyes.reflectance(linear))[of.reshape(codes.shape)].astype(np.float32)
