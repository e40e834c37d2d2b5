"""What a person put right in a photo: rims set by hand, and what is no part."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.errors import CallError
from wearview.parts.candidate import Plate, plate_between
from wearview.parts.part import Ellipse
from wearview.parts.rims import ANGLES, Rim

Point = tuple[float, float]
FEWEST, SLANTED = 3, 5  # points of a circle, and of an ellipse


@dataclass(frozen=True, slots=True)
class Rims:
    """Points on the two rims of a plate's face, x and y in pixels of the upright full-size photo.

    Three or four points make a circle, for a plate seen from straight above; five or more an ellipse.
    """

    outer: tuple[Point, ...]
    inner: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Corrections:
    """What a person said of one photo.

    Attributes
    ----------
    rims : tuple of Rims
        Plates with their faces where he tapped them; each takes the place of what was found there.
    no_parts : tuple of point
        The middle of each thing that was taken for a plate and is none; full-size pixels.
    """

    rims: tuple[Rims, ...] = ()
    no_parts: tuple[Point, ...] = ()


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
        raise CallError("rim", f"has {len(points)} points", f"Tap at least {FEWEST}, better five or six")
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


def _plate(rims: Rims, smooth: NDArray[np.uint8], scale: float) -> Plate:
    outer, inner = (fit_points(points).scaled(1 / scale) for points in (rims.outer, rims.inner))
    if inner.major >= outer.major or outer.radius_of(np.array([inner.cx]), np.array([inner.cy]))[0] > 0.3:
        raise CallError("rim", "the inner rim does not lie inside the outer one", "Tap both again")
    everywhere = np.ones(ANGLES, bool)
    radii = [math.sqrt(rim.major * rim.minor) / 2 for rim in (outer, inner)]
    return plate_between(smooth, Rim(outer, everywhere, radii[0]), Rim(inner, everywhere, radii[1]))


def _holds(plate: Plate, point: Sequence[float]) -> bool:
    """Whether a point lies about the middle of a plate."""
    x, y = np.array([point[0]]), np.array([point[1]])
    return bool(plate.outer.ellipse.radius_of(x, y)[0] < 0.3)


def _same_place(plate: Plate, stated: Plate) -> bool:
    middle = plate.outer.ellipse
    return _holds(stated, (middle.cx, middle.cy))
