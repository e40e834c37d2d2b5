"""The light of a photo by the bench mat: by its squares where they were measured, else by its paper."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from wearview.light.chart import CHART
from wearview.light.field import field_of_twins, places
from wearview.light.tone import PLAIN, Camera, Known, KnownLight, fit_camera
from wearview.mat import PAPER, Mat, Sample

Array = NDArray[np.float64]

CARD, BRIGHT_PAPER = "card", "bright paper"  # beside "chart" and "paper": what colours are known by
PAPER_REFLECTANCE = 0.87  # office paper reflects 0.82 to 0.92 of the light (from memory)
FEWEST = 14  # of 32 squares
FEWEST_PAPER = 3
SAME_PAPER = 0.06  # log units off the field, within which a place in the room is bare paper
PAPER_TINT, PAPER_LEVEL = 0.06, 0.6  # log units of tint and light between two places of one sheet
_SAME_PAPER_DE = 2.0  # Delta E, the same where colours are known


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
    if len(squares) < FEWEST:
        return None
    if colours is None:
        return _by_paper(squares, room, len(mat.squares), size)
    known = _known_mat(squares, colours, size)
    fit = fit_camera(known, bows=True)
    if not fit.holds or fit.kept.sum() < FEWEST:
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
    paper = [s for s in paper if not s.rolled_off] or paper
    level = np.exp(places(np.array([[s.x, s.y] for s in paper]), size) @ field)
    seen = np.array([s.rgb_linear for s in paper]) / level[:, None]
    white = np.median(seen, axis=0) / PAPER_REFLECTANCE
    by = BRIGHT_PAPER if all(s.rolled_off for s in paper) else PAPER
    return KnownLight("mat", PLAIN, white, field, np.nan, int(fits[: len(squares)].sum()), of, by)


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
    names = np.array([s.name for s in samples])
    terms = places(np.array([[s.x, s.y] for s in samples]), size)
    light = np.maximum(camera.decoded(np.array([s.rgb8 for s in samples]) / 255), 1e-5)
    square = np.arange(len(samples)) < printed
    counted = square | _like_paper(np.log(light), square & (names == PAPER))
    field, off = np.zeros(6), np.zeros(len(samples))
    for _ in range(2):  # by all that may be paper, then by what is
        field, _ = field_of_twins(names[counted], light[counted, 1], terms[counted])
        flat = np.log(light[:, 1]) - terms @ field
        for name in set(names[counted]):
            own = names == name
            off[own] = flat[own] - np.median(flat[own & counted])
        counted = square | (counted & (np.abs(off) < SAME_PAPER))
    return field, off


def _like_paper(log: Array, paper: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which samples have the paper's tint and much of its light: parts that lie on it are darker or tinted.

    `log` are log channels, shape (N, 3); `paper` says which samples are printed as paper.
    """
    if not paper.any():
        return np.zeros(len(log), bool)
    off = log - np.median(log[paper], axis=0)
    tint = off - off.mean(axis=1, keepdims=True)
    return np.asarray((np.abs(tint) < PAPER_TINT).all(axis=1) & (np.abs(off[:, 1]) < PAPER_LEVEL))
