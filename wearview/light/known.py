"""The light of a photo that shows something of known colour: the bench mat or a 24-patch chart."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import spearmanr

from wearview.colour import SRGB_TO_XYZ, lab_to_linear
from wearview.light.field import field_of_twins, places
from wearview.light.tone import PLAIN, Camera, Known, fit_camera
from wearview.mat import ASKED, DESIGN, PAPER, Mat, Sample, find_mat
from wearview.mat.chart import Chart, find_charts, published_linear
from wearview.settings import Settings
from wearview.terms import CHART_EDITIONS

Array = NDArray[np.float64]
LUMINANCE = SRGB_TO_XYZ[1]

CHART, CARD = "chart", "card"
MIS_SCALED = 0.015  # of a print's size; the sheet's edges show it within 0.4 %
ALIKE = 0.8  # rank correlation of 24 lightnesses; by chance once in a million
PAPER_REFLECTANCE = 0.87  # office paper reflects 0.82 to 0.92 of the light (from memory)
FEWEST_CHART = 16  # of 24 squares; with fewer, too few colours are left to mix channels by
FEWEST_MAT = 14  # of 32 squares
FEWEST_PAPER = 3
SAME_PAPER = 0.06  # log units off the field, within which a place in the room is bare paper
_SAME_PAPER_DE = 2.0  # Delta E, the same where colours are known


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


@dataclass(frozen=True, slots=True, eq=False)
class KnownLight:
    """What known colours tell of a photo's light.

    Attributes
    ----------
    method : str
        "mat" or "chart".
    camera : Camera
        `PLAIN` where only neutrals are known.
    white : ndarray, shape (3,)
        Decoded light of a perfect white where `field` is 0.
    field : ndarray, shape (6,)
        Coefficients of 1, x, y, x^2, xy, y^2 of the log light level, as `Light.field`.
    residual : float
        Median Delta E of the squares used; NaN where only neutrals are known.
    used, of : int
        Squares that fit, and squares there are.
    by : str
        "chart", "card" or "paper": how well the colours themselves are known.
    read_at : tuple of float, or None
        x, y of the chart, as -1..1 across the photo; None for the mat, which lies all round the part.
    """

    method: str
    camera: Camera
    white: Array
    field: Array
    residual: float
    used: int
    of: int
    by: str
    read_at: tuple[float, float] | None = None


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
    if light is None and any(_resembles(chart, known.chart) for chart in targets.charts):
        problems.append("chart does not fit")
    if light is None and plain is not None and known.mat is None:
        problems.append("mat not calibrated")
    return light or plain, tuple(problems)


def _resembles(chart: Chart, published: Array) -> bool:
    """Whether squares get lighter and darker as a chart's do, which other squares hardly ever do."""
    seen = np.array([s.rgb_linear for s in chart.squares]) @ LUMINANCE
    lie = np.isfinite(seen)
    if lie.sum() < FEWEST_CHART:
        return False
    return bool(spearmanr(seen[lie], (published @ LUMINANCE)[lie]).statistic > ALIKE)


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
        if usable.sum() < FEWEST_CHART or chart.mirrored:
            continue
        fit = fit_camera(_known_chart(chart, published, field, size).chosen(usable), bows=False)
        used = int(fit.kept.sum())
        if fit.holds and used >= FEWEST_CHART and (best is None or fit.residual < best.residual):
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


def mat_light(
    mat: Mat, colours: Mapping[str, NDArray[np.floating]] | None, size: tuple[int, int], by: str = CHART
) -> KnownLight | None:
    """The light by the bench mat, or None when its squares do not fit.

    Parameters
    ----------
    mat : Mat
        Without a problem.
    colours : mapping of str to ndarray, shape (3,), or None
        Linear sRGB of each of the mat's colours, from `wearview mat calibrate`; without it the squares serve
        as neutrals only: the paper for white, all for how the light falls.
    size : tuple of int
        Width and height of the photo that the mat was found in.
    by : str
        Beside what the colours were measured.
    """
    squares, room = _dull([s for s in mat.squares if s.usable]), [s for s in mat.room if s.usable]
    if len(squares) < FEWEST_MAT:
        return None
    if colours is None:
        return _by_paper(squares, room, len(mat.squares), size)
    known = _known_mat(squares, colours, size)
    fit = fit_camera(known, bows=True)
    if not fit.holds or fit.kept.sum() < FEWEST_MAT:
        return None
    both = _known_mat([*squares, *room], colours, size)
    bare = np.append(fit.kept, fit.off(both)[len(squares) :] < _SAME_PAPER_DE)
    finer = fit_camera(both.chosen(bare), bows=True)
    used = int(fit.kept.sum())
    return KnownLight("mat", finer.camera, finer.white, finer.field, fit.residual, used, len(mat.squares), by)


def _dull(samples: Sequence[Sample]) -> list[Sample]:
    """Those that no highlight has bent; all of them where the paper would be lost."""
    dull = [s for s in samples if not s.rolled_off]
    return dull if sum(s.name == PAPER for s in dull) >= FEWEST_PAPER else list(samples)


def _known_mat(
    samples: Sequence[Sample], colours: Mapping[str, NDArray[np.floating]], size: tuple[int, int]
) -> Known:
    xy = np.array([[s.x, s.y] for s in samples])
    linear = np.array([colours[s.name] for s in samples], float)
    codes = np.array([s.rgb8 for s in samples]) / 255
    return Known(codes, linear, places(xy, size), np.ones(len(xy)))


def _by_paper(
    squares: Sequence[Sample], room: Sequence[Sample], of: int, size: tuple[int, int]
) -> KnownLight | None:
    """White from the bare paper, the field from all that is printed twice."""
    field, off = sheet_field([*squares, *room], len(squares), size, PLAIN)
    fits = np.abs(off) < SAME_PAPER
    paper = [s for s, fit in zip([*squares, *room], fits, strict=True) if fit and s.name == PAPER]
    if len(paper) < FEWEST_PAPER:
        return None
    level = np.exp(places(np.array([[s.x, s.y] for s in paper]), size) @ field)
    seen = np.array([s.rgb_linear for s in paper]) / level[:, None]
    white = np.median(seen, axis=0) / PAPER_REFLECTANCE
    return KnownLight("mat", PLAIN, white, field, np.nan, int(fits[: len(squares)].sum()), of, PAPER)


def sheet_field(
    samples: Sequence[Sample], printed: int, size: tuple[int, int], camera: Camera
) -> tuple[Array, Array]:
    """How the light falls over a mat's sheet, and the log by which each sample lies off it.

    Parameters
    ----------
    samples : sequence of Sample
        The squares, then places in the room, of which those that are bare paper are counted in.
    printed : int
        How many of them are squares.
    size : tuple of int
        Width and height of the photo.
    camera : Camera
        By which codes are decoded.
    """
    names = [s.name for s in samples]
    terms = places(np.array([[s.x, s.y] for s in samples]), size)
    level = camera.decoded(np.array([s.rgb8 for s in samples]) / 255)[:, 1]
    field, off = field_of_twins(names[:printed], level[:printed], terms[:printed])
    if PAPER not in names[:printed]:
        return field, off
    flat = np.log(np.maximum(level, 1e-5)) - terms @ field
    paper = np.array([name == PAPER for name in names])
    usual = float(np.median(flat[:printed][paper[:printed]]))
    counted = np.arange(len(samples)) < printed
    counted |= paper & (np.abs(flat - usual) < SAME_PAPER)
    finer, _ = field_of_twins(
        [n for n, c in zip(names, counted, strict=True) if c], level[counted], terms[counted]
    )
    flat = np.log(np.maximum(level, 1e-5)) - terms @ finer
    off = np.empty(len(samples))
    for name in set(names):
        own = np.array([n == name for n in names])
        off[own] = flat[own] - np.median(flat[own & counted])
    return finer, off
