"""The common 24-patch chart: its published colours, and the chart found in a photo."""

import csv
import functools
import io
from dataclasses import dataclass
from importlib import resources

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import lab_d50_to_linear
from wearview.mat.patches import Sample, sample_square

ROWS, COLUMNS = 4, 6
_TABLE = "chart24_lab_d50.csv"
_MOST = 3  # candidates looked at; other rows of squares are taken for a chart now and then
# Of a copy this long: enough pixels that lead in a channel by this share of it. A chart whose squares are 15
# pixels wide in a copy of 1600 has 9 of its one green square.
_COPY, _SATURATED, _ENOUGH = 320, 0.35, 6


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """Twenty-four squares that may be a chart.

    Attributes
    ----------
    squares : tuple of Sample
        In the chart's order, dark skin first, black last, as the finder took it to lie.
    outline : ndarray, shape (4, 2)
        Its frame's corners in pixels.
    """

    squares: tuple[Sample, ...]
    outline: NDArray[np.float64]

    def turned(self) -> "Chart":
        """The same squares with the other end up."""
        return Chart(self.squares[::-1], np.roll(self.outline, 2, axis=0))

    @property
    def mirrored(self) -> bool:
        """Whether its rows run the wrong way round, as in a mirrored picture."""
        right, down = (np.array([s.x, s.y]) for s in (self.squares[COLUMNS - 1], self.squares[-COLUMNS]))
        first = np.array([self.squares[0].x, self.squares[0].y])
        return bool(np.linalg.det(np.stack([right - first, down - first])) < 0)


def find_charts(rgb8: NDArray[np.uint8]) -> tuple[Chart, ...]:
    """What may be a 24-patch chart in a photo, the likeliest first; often nothing.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
        sRGB; a copy about 1600 pixels long is enough.

    Notes
    -----
    Squares by OpenCV's mcc module, which takes the chart's place and which end is up from their arrangement
    and colours. Its own reference colours are one fixed edition and are not used. Whether it is a chart shows
    when its colours are fitted. A mirrored one is found too, but not quite in its place.
    """
    if min(rgb8.shape[:2]) < 100 or not _has_every_colour(rgb8):
        return ()
    detector = cv2.mcc.CCheckerDetector_create()
    detector.setColorChartType(cv2.mcc.MCC24)
    if not detector.process(cv2.cvtColor(rgb8, cv2.COLOR_RGB2BGR), _MOST):
        return ()
    return tuple(_chart(rgb8, found) for found in detector.getListColorChecker())


def _has_every_colour(rgb8: NDArray[np.uint8]) -> bool:
    """Whether red, green and blue each lead somewhere, as on a chart in any light: asked first, for it costs
    a hundredth of the search."""
    factor = min(1.0, _COPY / max(rgb8.shape[:2]))
    small = cv2.resize(rgb8, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    channels = [channel.astype(np.int16) for channel in cv2.split(small)]
    most, least = (np.asarray(of(of(channels[0], channels[1]), channels[2])) for of in (cv2.max, cv2.min))
    vivid = most - least > np.maximum(_SATURATED * most, _SATURATED * 40)
    return all(np.count_nonzero(vivid & (channel == most)) >= _ENOUGH for channel in channels)


def _chart(rgb8: NDArray[np.uint8], found: "cv2.mcc.CChecker") -> Chart:
    quads = np.asarray(found.getColorCharts(), float).reshape(ROWS * COLUMNS, 4, 2)
    # The finder's quadrilaterals lie well inside the squares.
    squares = (
        sample_square(rgb8, q, name, inside=1.0) for q, name in zip(quads, published_names(), strict=True)
    )
    return Chart(tuple(squares), np.asarray(found.getBox(), float).reshape(4, 2))


def published_names() -> tuple[str, ...]:
    """The squares' names in order."""
    return tuple(row["name"] for row in _rows())


def published_lab_d50(edition: str) -> NDArray[np.float64]:
    """Published CIELAB, D50, 2 degrees, shape (24, 3).

    Parameters
    ----------
    edition : str
        One of `terms.CHART_EDITIONS`. By the wrong one colours are off by 0.85 on average.

    References
    ----------
    The chart maker's reference data of 2016; the table's first line says by which way it came here.
    """
    which = edition.partition("-")[0]
    return np.array([[float(row[f"{axis}_{which}"]) for axis in "Lab"] for row in _rows()])


def published_linear(edition: str) -> NDArray[np.float64]:
    """The published colours as linear sRGB under D65, shape (24, 3); cyan lies outside 0..1."""
    return lab_d50_to_linear(published_lab_d50(edition)).astype(np.float64)


@functools.cache
def _rows() -> tuple[dict[str, str], ...]:
    text = resources.files("wearview.mat").joinpath(_TABLE).read_text("utf-8")
    lines = (line for line in io.StringIO(text) if not line.startswith("#"))
    return tuple(csv.DictReader(lines))
