"""What a person put right in a photo: rims and edges set by hand, and what is no part."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.errors import CallError
from wearview.parts.band import SPINE_POINTS, Band, fill
from wearview.parts.candidate import Plate, plate_between
from wearview.parts.part import Ellipse
from wearview.parts.rims import ANGLES, Rim
from wearview.terms import how_many

Point = tuple[float, float]
FEWEST, SLANTED = 3, 5  # points of a circle, and of an ellipse
NARROWEST_BAND, WIDEST_BAND = 0.01, 1.0  # width over length


@dataclass(frozen=True, slots=True)
class Rims:
    """Points on the two rims of a plate's face, x and y in pixels of the upright full-size photo.

    Three or four points make a circle, for a plate seen from straight above; five or more an ellipse.
    """

    outer: tuple[Point, ...]
    inner: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class BandEdges:
    """Three points or more along each long edge of a band's lining, x and y in pixels of the upright
    full-size photo."""

    one: tuple[Point, ...]
    other: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Corrections:
    """What a person said of one photo.

    Attributes
    ----------
    rims : tuple of Rims
        Plates with their faces where he tapped them; each takes the place of what was found there.
    no_parts : tuple of point
        The middle of each thing that was taken for a plate, or a place on what was taken for a band, and is
        none; full-size pixels.
    bands : tuple of BandEdges
        Bands with their linings where he set them; they take the place of what was found there.
    in_view : bool
        A part is in view, whatever a photo alone would make one believe.
    """

    rims: tuple[Rims, ...] = ()
    no_parts: tuple[Point, ...] = ()
    bands: tuple[BandEdges, ...] = ()
    in_view: bool = False


def put_right(
    plates: Sequence[Plate], said: Corrections, smooth: NDArray[np.uint8], scale: float
) -> tuple[list[Plate], list[Plate]]:
    """The plates found that stay, and those that a person set.

    Parameters
    ----------
    plates : sequence of Plate
        As found.
    said : Corrections
    smooth : ndarray, shape (H, W, 3), uint8
        The working copy, smoothed.
    scale : float
        Full-size pixels per working-copy pixel.

    Raises
    ------
    CallError
        When points make no ring.
    """
    stated = [_plate(rims, smooth, scale) for rims in said.rims]
    no_parts = [tuple((np.array(point) + 0.5) / scale - 0.5) for point in said.no_parts]
    kept = [
        plate
        for plate in plates
        if not any(_holds(plate, point) for point in no_parts)
        and not any(_same_place(plate, other) for other in stated)
    ]
    return kept, stated


def fit_points(points: Sequence[Point]) -> Ellipse:
    """The circle through three or four points, the ellipse through five or more, by least squares.

    Raises
    ------
    CallError
        When they are fewer, or lie on a line.

    References
    ----------
    Circle: Kasa (1976), IEEE Trans. Instrum. Meas. 25, 8-14 (from memory). Ellipse: Fitzgibbon, Pilu and
    Fisher (1999), IEEE Trans. PAMI 21, 476-480, as in OpenCV's `fitEllipseDirect`.
    """
    if len(points) < FEWEST:
        raise CallError(
            "rim", f"has {how_many(len(points), 'point')}", f"Tap at least {FEWEST}, better five or six"
        )
    xy = np.array(points, float)
    if len(points) >= SLANTED:
        # OpenCV gives full lengths and the direction of the first of them.
        (cx, cy), (first, second), turn = cv2.fitEllipseDirect(xy.astype(np.float32))
        angle = turn if first >= second else turn + 90
        fitted = Ellipse(cx, cy, max(first, second), min(first, second), angle % 180)
    else:
        solved, _, rank, _ = np.linalg.lstsq(
            np.column_stack([2 * xy, np.ones(len(xy))]), (xy**2).sum(axis=1), rcond=None
        )
        radius = math.sqrt(max(0.0, solved[2] + solved[0] ** 2 + solved[1] ** 2)) if rank == 3 else 0.0
        fitted = Ellipse(float(solved[0]), float(solved[1]), 2 * radius, 2 * radius, 0.0)
    if not (math.isfinite(fitted.major) and fitted.minor > 0.2 * fitted.major > 0):
        raise CallError("rim", "the points make no ring", "Spread them round the rim")
    return fitted


def check_rims(rims: Rims) -> tuple[Ellipse, Ellipse]:
    """The outer and the inner rim through a person's points, in pixels of the full-size photo.

    Raises
    ------
    CallError
        When the points make no ring.
    """
    outer, inner = fit_points(rims.outer), fit_points(rims.inner)
    if inner.major >= outer.major or outer.radius_of(np.array([inner.cx]), np.array([inner.cy]))[0] > 0.3:
        raise CallError("rim", "the inner rim does not lie inside the outer one", "Tap both again")
    return outer, inner


def _plate(rims: Rims, smooth: NDArray[np.uint8], scale: float) -> Plate:
    outer, inner = (rim.scaled(1 / scale) for rim in check_rims(rims))
    everywhere = np.ones(ANGLES, bool)
    radii = [math.sqrt(rim.major * rim.minor) / 2 for rim in (outer, inner)]
    return plate_between(smooth, Rim(outer, everywhere, radii[0]), Rim(inner, everywhere, radii[1]))


def check_band(band: BandEdges) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The two long edges through a person's points, each (SPINE_POINTS, 2), both from the left or upper end.

    Raises
    ------
    CallError
        When they do not run side by side.
    """
    along = int(np.ptp(np.array([*band.one, *band.other], float), axis=0).argmax())
    one, other = _smooth_edge(band.one, along), _smooth_edge(band.other, along)
    width = np.linalg.norm(other - one, axis=1)
    length = float(np.linalg.norm(np.diff((one + other) / 2, axis=0), axis=1).sum())
    if not NARROWEST_BAND * length < width.min() <= width.max() < WIDEST_BAND * length:
        raise CallError(
            "edge", "the two edges of the band do not run side by side", "Set both from end to end"
        )
    return one, other


def _smooth_edge(points: Sequence[Point], along: int) -> NDArray[np.float64]:
    """Even places along the smooth curve nearest to points, from the end at which axis `along` is less."""
    if len(points) < FEWEST:
        raise CallError(
            "edge", f"has {how_many(len(points), 'point')}", f"Set at least {FEWEST}, better five or six"
        )
    xy = np.array(points, float)
    xy = xy[::-1] if xy[0, along] > xy[-1, along] else xy
    at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(xy, axis=0), axis=1))])
    if (np.diff(at) <= 0).any():
        raise CallError("edge", "has the same point twice", "Set each point once, from end to end")
    degree = 3 if len(points) >= SLANTED else 2
    fits = [np.polynomial.Polynomial.fit(at, values, degree) for values in xy.T]
    even = np.linspace(0, at[-1], SPINE_POINTS)
    return np.stack([fit(even) for fit in fits], axis=1)


def stated_band(edges: BandEdges, shape: tuple[int, int], scale: float) -> Band:
    """A band whose lining lies between two edges, in a working copy of this (height, width)."""
    one, other = ((edge + 0.5) / scale - 0.5 for edge in check_band(edges))
    outline = np.vstack([one, other[::-1]])
    face = fill(outline, shape)
    rows, columns = np.flatnonzero(face.any(axis=1)), np.flatnonzero(face.any(axis=0))
    if not len(rows):
        raise CallError("edge", "the band lies off the photo", "Set its edges again")
    face = face[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    cut_off = bool(((outline < 0) | (outline > [shape[1] - 1, shape[0] - 1])).any())
    return Band(
        spine=(one + other) / 2,
        width=float(np.linalg.norm(other - one, axis=1)[SPINE_POINTS // 2]),
        origin=(int(columns[0]), int(rows[0])),
        part=face,
        face=face,
        confidence=1.0,
        problems=("cut off by the frame",) if cut_off else (),
    )


def lies_on(band: Band, x: float, y: float) -> bool:
    """Whether a place of the working copy lies on a band, its strap or its lining."""
    row, column = round(y) - band.origin[1], round(x) - band.origin[0]
    height, width = band.part.shape
    return 0 <= row < height and 0 <= column < width and bool(band.part[row, column])


def _holds(plate: Plate, point: Sequence[float]) -> bool:
    """Whether a point lies about the middle of a plate."""
    x, y = np.array([point[0]]), np.array([point[1]])
    return bool(plate.outer.ellipse.radius_of(x, y)[0] < 0.3)


def _same_place(plate: Plate, stated: Plate) -> bool:
    middle = plate.outer.ellipse
    return _holds(stated, (middle.cx, middle.cy))
