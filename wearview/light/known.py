"""The light of a photo that shows something of known colour: the bench mat or a 24-patch chart."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.light.field import field_of_twins, places
from wearview.light.tone import PLAIN, Camera, CameraFit, Known, fit_camera
from wearview.mat import PAPER, Mat, Sample
from wearview.mat.chart import Chart

Array = NDArray[np.float64]

PAPER_REFLECTANCE = 0.87  # office paper reflects 0.82 to 0.92 of the light (from memory)
FEWEST_CHART = 16  # of 24 squares; with fewer, too few colours are left to mix channels by
FEWEST_MAT = 14  # of 32 squares
FEWEST_PAPER = 3
SAME_PAPER = 0.06  # log units off the field, within which a place in the room is bare paper
_SAME_PAPER_DE = 2.0  # Delta E, the same where colours are known


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
    """

    method: str
    camera: Camera
    white: Array
    field: Array
    residual: float
    used: int
    of: int


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
    best: tuple[CameraFit, int] | None = None
    for chart in (c for found in charts for c in (found, found.turned())):
        usable = np.array([s.usable for s in chart.squares])
        if usable.sum() < FEWEST_CHART or chart.mirrored:
            continue
        fit = fit_camera(_known_chart(chart, published, field, size).chosen(usable), bows=False)
        if fit.holds and fit.kept.sum() >= FEWEST_CHART and (best is None or fit.residual < best[0].residual):
            best = fit, int(fit.kept.sum())
    if best is None:
        return None
    fit, used = best
    return KnownLight("chart", fit.camera, fit.white, field, fit.residual, used, len(published))


def _known_chart(chart: Chart, published: Array, field: Array, size: tuple[int, int]) -> Known:
    xy = np.array([[s.x, s.y] for s in chart.squares])
    codes = np.array([s.rgb8 for s in chart.squares]) / 255
    level = np.exp(places(xy, size) @ field)
    return Known(codes, published, places(xy, size, xy.mean(axis=0)), level)


def mat_light(
    mat: Mat, colours: Mapping[str, NDArray[np.floating]] | None, size: tuple[int, int]
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
    """
    squares = [s for s in mat.squares if s.usable]
    room = [s for s in mat.room if s.usable]
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
    return KnownLight("mat", finer.camera, finer.white, finer.field, fit.residual, used, len(mat.squares))


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
    return KnownLight("mat", PLAIN, white, field, np.nan, int(fits[: len(squares)].sum()), of)


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
