"""The bench mat in a photo: its plane, its scale, and the colours of its squares."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.mat.design import (
    MARKERS,
    PAPER,
    PAPERS,
    PATCH,
    ROOM,
    Design,
    design_for,
)
from wearview.mat.edges import printed_scale
from wearview.mat.patches import Sample, sample_square
from wearview.mat.plane import Plane, fit_plane

LONG_SIDE = 1600  # of the copy in which markers are sought
# Root mean square of the corners off the fitted plane, in mm on the mat. Flat prints in scenes stay under
# 0.15; a sheet with a corner up by 10 mm, seen from half a metre, has 1 and more.
MOST_OFF = 0.6
# Markers from which the plane holds beyond them too, to judge the sheet by; with three it was off by 1 %.
FEWEST_FOR_SCALE = 5
# Pixels of the windows in which light is told from dark, OpenCV's own. Most photos have no mat: where the
# widest alone shows no marker the others are not tried, which takes two thirds of the time. It showed one in
# each of 1202 rendered photos of a mat from near, of 136 from afar (down to 20 pixels a marker) and of 61
# blurred ones; at half the size up to 6 of 24 mats from afar were lost.
_NARROWEST, _WIDEST = 3, 23
_ROOM_STEP = 25.0  # mm between places where bare paper is sought inside the room


@dataclass(frozen=True, slots=True, eq=False)
class Mat:
    """A bench mat in view.

    Attributes
    ----------
    design : Design
        What was printed.
    plane : Plane
        From mm on the mat to pixels of the photo it was found in.
    markers : tuple of int
        Numbers of the markers that were found and fit.
    off_mm : float
        Root mean square of their corners off the plane, mm on the mat.
    printed_scale : float
        True millimetres per printed millimetre, seen on the sheet's own edges and counted in for every scale;
        NaN where they do not show.
    squares : tuple of Sample
        One each of `design.patches`, in that order.
    room : tuple of Sample
        Places inside the room, called "paper": bare paper wherever no part lies on it.
    problem : str or None
        Why it cannot be used: a name from `terms.PROBLEMS`.
    """

    design: Design
    plane: Plane
    markers: tuple[int, ...]
    off_mm: float
    printed_scale: float
    squares: tuple[Sample, ...]
    room: tuple[Sample, ...]
    problem: str | None

    def mm_per_px_at(self, xy: NDArray[np.floating]) -> float:
        """Millimetres per pixel in the plane of the mat at a place in pixels, as `mm_per_px`."""
        scale = 1.0 if math.isnan(self.printed_scale) else self.printed_scale
        return self.plane.mm_per_px(np.asarray(xy, np.float64)) * scale


def find_mat(rgb8: NDArray[np.uint8]) -> Mat | None:
    """The bench mat in a photo, or None when fewer than two of its markers show.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
        sRGB, upright or turned; pixels of `Mat.plane` and of the samples are this picture's.

    Notes
    -----
    Markers: S. Garrido-Jurado and others (2014), Automatic generation and detection of highly reliable
    fiducial markers under occlusion, Pattern Recognition 47, 2280-2292 (from memory), by OpenCV.
    """
    height, width = rgb8.shape[:2]
    factor = min(1.0, LONG_SIDE / max(height, width))
    copy = rgb8
    if factor < 1:
        copy = np.asarray(
            cv2.resize(rgb8, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), np.uint8
        )
    corners = _marker_corners(copy)
    for paper in PAPERS:
        design = design_for(paper)
        own = [number for number in corners if number in design.markers]
        if not own:
            continue
        mm = np.concatenate([design.markers[number] for number in own])
        px = np.concatenate([corners[number] for number in own])
        found = fit_plane(mm, px, (copy.shape[1], copy.shape[0]))
        if found is not None:
            return _measured(rgb8, copy, design, own, mm, px, *found)
    return None


def _marker_corners(rgb8: NDArray[np.uint8]) -> dict[int, NDArray[np.float64]]:
    """Corners in pixels, shape (4, 2), of every marker found, by its number."""
    grey = np.asarray(cv2.cvtColor(rgb8, cv2.COLOR_RGB2GRAY), np.uint8)
    return _detected(grey, _NARROWEST) if _detected(grey, _WIDEST) else {}


def _detected(grey: NDArray[np.uint8], narrowest: int) -> dict[int, NDArray[np.float64]]:
    """As `_marker_corners`, edges told by windows from so many pixels on to the widest."""
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax = narrowest, _WIDEST
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(MARKERS), settings)
    corners, numbers, _ = detector.detectMarkers(grey)
    if numbers is None:
        return {}
    return {int(n): np.asarray(c[0], float) for c, n in zip(corners, numbers.ravel(), strict=True)}


def _measured(
    rgb8: NDArray[np.uint8],
    copy: NDArray[np.uint8],
    design: Design,
    numbers: list[int],
    mm: NDArray[np.float64],
    px: NDArray[np.float64],
    plane: Plane,
    fits: NDArray[np.bool_],
) -> Mat:
    off_mm = float(np.sqrt(((plane.to_mm(px[fits]) - mm[fits]) ** 2).sum(axis=1).mean()))
    known = fits.sum() >= 4 * FEWEST_FOR_SCALE
    scale = printed_scale(copy, plane, design) if known else math.nan
    whole = plane.scaled(rgb8.shape[1] / copy.shape[1])
    return Mat(
        design,
        whole,
        tuple(n for n, fit in zip(numbers, fits.reshape(-1, 4), strict=True) if fit.all()),
        off_mm,
        scale,
        tuple(_square(rgb8, whole, p.name, p.x, p.y) for p in design.patches),
        tuple(_square(rgb8, whole, PAPER, x, y) for x, y in _room_places()),
        "mat does not lie flat" if off_mm > MOST_OFF else None,
    )


def _square(rgb8: NDArray[np.uint8], plane: Plane, name: str, x: float, y: float) -> Sample:
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * PATCH / 2 + [x, y]
    return sample_square(rgb8, plane.to_px(corners), name)


def _room_places() -> list[tuple[float, float]]:
    steps = np.arange(-3, 4) * _ROOM_STEP
    return [(float(x), float(y)) for y in steps for x in steps if math.hypot(x, y) < ROOM / 2 - PATCH]
