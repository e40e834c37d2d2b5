"""What is of known colour in a photo, the bench mat or a 24-patch chart, and the light by the best of it."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import lab_to_linear
from wearview.light.chart import CHART, chart_light, resembles_chart
from wearview.light.sheet import mat_light
from wearview.light.tone import KnownLight
from wearview.mat import ASKED, DESIGN, PAPER, Mat, find_mat
from wearview.mat.chart import Chart, find_charts, published_linear
from wearview.settings import Settings
from wearview.terms import CHART_EDITIONS

Array = NDArray[np.float64]

MIS_SCALED = 0.015  # of a print's size; the sheet's edges show it within 0.4 %


@dataclass(frozen=True, slots=True, eq=False)
class KnownColours:
    """What is known of colours before a photo is looked at.

    Attributes
    ----------
    chart : ndarray, shape (24, 3)
        Linear sRGB under D65 of the chart's edition.
    mat : dict of str to ndarray, shape (3,), or None
        Linear sRGB of the bench mat's colours; None when it was not calibrated.
    by : str or None
        "chart" or "card": beside what the mat was calibrated.
    """

    chart: Array
    mat: dict[str, Array] | None
    by: str | None


NOTHING_MEASURED = KnownColours(published_linear(CHART_EDITIONS[0]), None, None)
"""The newer chart, and a mat of unknown inks."""


def known_colours(settings: Settings) -> KnownColours:
    """The colours that the settings name; a mat of another design than the present one is not known."""
    mat, chart = settings.mat, published_linear(settings.chart)
    if mat is None or mat.design != DESIGN or not {PAPER, *ASKED} <= mat.lab.keys():
        return KnownColours(chart, None, None)
    linear = {name: lab_to_linear(lab).astype(np.float64) for name, lab in mat.lab.items()}
    return KnownColours(chart, linear, mat.by)


@dataclass(frozen=True, slots=True, eq=False)
class Targets:
    """What may be of known colour in a photo.

    Attributes
    ----------
    mat : Mat or None
    charts : tuple of Chart
    size : tuple of int
        Width and height of the picture they were found in.
    """

    mat: Mat | None
    charts: tuple[Chart, ...]
    size: tuple[int, int]

    def sheet(self, shape: tuple[int, int]) -> NDArray[np.bool_]:
        """Where the mat's sheet lies in a copy of this height and width, whether or not it can be used."""
        mask = np.zeros(shape, np.uint8)
        if self.mat is not None:
            half = np.array([self.mat.design.width, self.mat.design.height]) / 2
            corners = self.mat.plane.to_px(np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half)
            scale = np.array(shape[::-1]) / self.size
            cv2.fillConvexPoly(mask, np.rint((corners + 0.5) * scale - 0.5).astype(np.int32), 1)
        return mask.astype(bool)

    def mm_per_px(self, xy: tuple[float, float], scale: float) -> float:
        """Millimetres per pixel of the photo at a place in its full-size pixels; NaN without a flat mat.

        `scale` is full-size pixels per pixel of the copy that the mat was found in.
        """
        if self.mat is None or self.mat.problem is not None:
            return math.nan
        here = (np.array(xy) + 0.5) / scale - 0.5
        return self.mat.mm_per_px_at(here) / scale


def find_targets(rgb8: NDArray[np.uint8], known: KnownColours) -> Targets:
    """The mat and, where no mat of known colours is in view, what may be a chart.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
        A photo's working copy.
    known : KnownColours
    """
    mat = find_mat(rgb8)
    enough = mat is not None and mat.problem is None and known.mat is not None
    return Targets(mat, () if enough else find_charts(rgb8), (rgb8.shape[1], rgb8.shape[0]))


def known_light(
    targets: Targets, known: KnownColours, field: Array
) -> tuple[KnownLight | None, tuple[str, ...]]:
    """The light by the best that is in view, and what spoke against the rest.

    Parameters
    ----------
    targets : Targets
    known : KnownColours
    field : ndarray, shape (6,)
        How the light falls over the bench, for a chart that lies there.

    Returns
    -------
    KnownLight or None
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    """
    mat, problems = targets.mat, []
    if mat is not None and mat.problem is not None:
        problems.append(mat.problem)
        mat = None
    elif mat is not None and abs(mat.printed_scale - 1) > MIS_SCALED:
        problems.append("mat printed to another scale")
    plain = None
    if mat is not None:
        if known.mat is not None:
            light = mat_light(mat, known.mat, targets.size, known.by or CHART)
            if light is not None:
                return light, tuple(problems)
            problems.append("mat colours do not fit")
        plain = mat_light(mat, None, targets.size)
    light = chart_light(targets.charts, known.chart, field if plain is None else plain.field, targets.size)
    if light is None and any(resembles_chart(chart, known.chart) for chart in targets.charts):
        problems.append("chart does not fit")
    if light is None and mat is not None and known.mat is None:
        problems.append("mat not calibrated")
    return light or plain, tuple(problems)
