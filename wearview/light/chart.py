"""The light of a photo by a 24-patch chart of known colours."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wearview.colour import SRGB_TO_XYZ
from wearview.light.field import places
from wearview.light.tone import Known, KnownLight, fit_camera
from wearview.mat.chart import Chart

Array = NDArray[np.float64]
LUMINANCE = SRGB_TO_XYZ[1]

CHART = "chart"  # what colours are known by
FEWEST = 16  # of 24 squares; with fewer, too few colours are left to mix channels by
ALIKE = 0.8  # rank correlation of 24 lightnesses; by chance once in a million


def chart_light(
    charts: Sequence[Chart], published: Array, field: Array, size: tuple[int, int]
) -> KnownLight | None:
    """The light by the best of the charts found, or None when none of them fits.

    Parameters
    ----------
    charts : sequence of Chart
        From `find_charts`.
    published : ndarray, shape (24, 3)
        Linear sRGB under D65 of the edition, from `published_linear`.
    field : ndarray, shape (6,)
        How the light falls over the bench: the chart lies in one place and cannot tell.
    size : tuple of int
        Width and height of the photo that the charts' places count in.

    Notes
    -----
    Either end may be up. Other squares, a mirrored picture or a chart under oil do not fit and give nothing.
    """
    best: KnownLight | None = None
    for chart in (c for found in charts for c in (found, found.turned())):
        usable = np.array([s.usable and not s.rolled_off for s in chart.squares])
        if usable.sum() < FEWEST or chart.mirrored:
            continue
        fit = fit_camera(_known_chart(chart, published, field, size).chosen(usable), bows=False)
        used = int(fit.kept.sum())
        if fit.holds and used >= FEWEST and (best is None or fit.residual < best.residual):
            x, y = places(chart.outline.mean(axis=0)[None], size)[0, 1:3]
            best = KnownLight(
                "chart",
                fit.camera,
                fit.white,
                field,
                fit.residual,
                used,
                len(published),
                CHART,
                (float(x), float(y)),
            )
    return best


def _known_chart(chart: Chart, published: Array, field: Array, size: tuple[int, int]) -> Known:
    xy = np.array([[s.x, s.y] for s in chart.squares])
    codes = np.array([s.rgb8 for s in chart.squares]) / 255
    level = np.exp(places(xy, size) @ field)
    return Known(codes, published, places(xy, size, xy.mean(axis=0)), level)


def resembles_chart(chart: Chart, published: Array) -> bool:
    """Whether squares get lighter and darker as a chart's do, which other squares hardly ever do."""
    seen = np.array([s.rgb_linear for s in chart.squares]) @ LUMINANCE
    lie = np.isfinite(seen)
    if lie.sum() < FEWEST:
        return False
    from scipy.stats import spearmanr  # longer to load than a photo to grade, which few charts are in

    return bool(spearmanr(seen[lie], (published @ LUMINANCE)[lie]).statistic > ALIKE)
