"""Rings on the bench plane: which centres carry concentric edges that go most of the way round."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.edges import PlaneEdges, centre_votes

SECTORS = (
    120  # three degrees: finer than a tooth of a 40-tooth plate needs, coarse enough for gaps in a thin edge
)
RADIUS_STEP = 1.5  # small-copy pixels
FACING = np.cos(np.radians(14))  # an edge of a rim faces the centre within this angle
CELL = 4.0
FEWEST_EDGES = 40
HOPELESS = 0.4  # score about a rough centre; of 455 ring sets of 19 tuned photos none began under 0.5
MIN_COVERAGE = 0.30  # of the circle: a plate overlapped by a third on a bench that swallows part of its rim


@dataclass(frozen=True, slots=True)
class Ring:
    """A circle of edges on the plane.

    Attributes
    ----------
    radius : float
        In plane pixels of the small copy.
    coverage : float
        Share of the circle's sectors in which an edge facing the centre was seen, 0..1.
    """

    radius: float
    coverage: float


@dataclass(frozen=True, slots=True)
class RingSet:
    """Concentric rings round one centre, smallest first."""

    x: float
    y: float
    rings: tuple[Ring, ...]

    @property
    def score(self) -> float:
        """Coverage of the two best rings together, 0..2."""
        return _score(self.rings)

    @property
    def reach(self) -> float:
        """Radius of the outermost ring."""
        return self.rings[-1].radius


def _score(rings: tuple[Ring, ...]) -> float:
    return sum(sorted((ring.coverage for ring in rings), reverse=True)[:2])


def voted_centres(
    laid: PlaneEdges, bounds: tuple[float, float, float, float], radius_range: tuple[float, float], most: int
) -> list[NDArray[np.float64]]:
    """Where the normals of most edges meet, best first, to a few pixels.

    Parameters
    ----------
    laid : PlaneEdges
        Those that vote.
    bounds : tuple of float
        x0, y0, x1, y1 of the photo on the plane.
    radius_range : tuple of float
        Smallest and largest rim radius in plane pixels.
    most : int
        Centres returned at most.
    """
    low, high = radius_range
    votes = centre_votes(laid, bounds, np.arange(low, high, CELL), CELL)
    # Ribs and planks send votes far and wide; a plate's meet in one cell.
    votes = votes - cv2.blur(votes, (11, 11))
    spread = int(max(2, 0.35 * low / CELL))
    peaks = (votes == cv2.dilate(votes, np.ones((2 * spread + 1, 2 * spread + 1), np.uint8))) & (votes > 0)
    rows, columns = np.nonzero(peaks)
    order = np.argsort(-votes[rows, columns])[:most]
    return [
        np.array([bounds[0] + (column + 0.5) * CELL, bounds[1] + (row + 0.5) * CELL])
        for row, column in zip(rows[order], columns[order], strict=True)
    ]


def settle_ring_sets(
    laid: PlaneEdges, centres: list[NDArray[np.float64]], radius_range: tuple[float, float], most: int
) -> list[RingSet]:
    """Ring sets with at least two rings near rough centres, best first."""
    low, high = radius_range
    settled = [s for centre in centres if (s := _settle(laid, centre, low, high)) is not None]
    found: list[RingSet] = []
    for ring_set in sorted(settled, key=lambda s: -s.score):
        if all(math.hypot(ring_set.x - other.x, ring_set.y - other.y) > 0.5 * low for other in found):
            found.append(ring_set)
    return found[:most]


def _settle(laid: PlaneEdges, centre: NDArray[np.float64], low: float, high: float) -> RingSet | None:
    """Rings round a rough centre, the centre moved to fit the best of them."""
    # The centre moves by a few pixels from here on: what faces it by far stays out.
    near = laid[_facing(laid, centre, 0.93 * FACING, 0.6 * low, 1.1 * high)]
    at = near[_facing(near, centre, FACING, 0.8 * low, 1.05 * high)]
    if len(at) < FEWEST_EDGES:
        return None
    # Hot bands crowd the rings of a plate together; the normals of all of them still meet in one point.
    centre = _meeting_point(at, centre)
    rings: tuple[Ring, ...] = ()
    for tolerance in (3.0, 2.0):
        at = near[_facing(near, centre, FACING, 0.8 * low, 1.05 * high)]
        if len(at) < FEWEST_EDGES:
            return None
        x, y = at.x - np.float32(centre[0]), at.y - np.float32(centre[1])
        radius = np.sqrt(x * x + y * y)
        rings = _rings(radius, x, y, tolerance)
        if not rings or _score(rings) < HOPELESS:
            return None
        best = max(rings, key=lambda ring: ring.coverage * ring.radius)
        centre = _circle_centre(at[np.flatnonzero(np.abs(radius - best.radius) < tolerance)], centre)
    good = tuple(ring for ring in rings if ring.coverage >= MIN_COVERAGE)
    return RingSet(float(centre[0]), float(centre[1]), good) if len(good) >= 2 else None


def _facing(
    laid: PlaneEdges, centre: NDArray[np.float64], cosine: float, nearest: float, farthest: float
) -> NDArray[np.intp]:
    """Edges whose normal keeps to the line to a centre, from `nearest` to `farthest` away."""
    x, y = laid.x - np.float32(centre[0]), laid.y - np.float32(centre[1])
    squared = x * x + y * y
    towards = x * laid.nx + y * laid.ny
    return np.flatnonzero(
        (towards * towards > np.float32(cosine**2) * squared)
        & (squared > nearest**2)
        & (squared < farthest**2)
    )


def _rings(
    radius: NDArray[np.float32], x: NDArray[np.float32], y: NDArray[np.float32], tolerance: float
) -> tuple[Ring, ...]:
    """Rings among edges at these offsets from a centre; those of one ring lie within `tolerance`."""
    sector = ((np.arctan2(y, x) / np.float32(2 * np.pi) + 0.5) * SECTORS).astype(int)
    sector[sector == SECTORS] = 0
    step = (radius / RADIUS_STEP).astype(int)
    seen = np.zeros((step.max() + 2, SECTORS), np.uint8)
    seen.ravel()[step * SECTORS + sector] = 1
    width = max(3, round(tolerance / RADIUS_STEP) * 2 - 1)
    joined = cv2.dilate(seen, np.ones((width, 1), np.uint8))
    within, each = (cv2.reduce(place, 1, cv2.REDUCE_SUM, dtype=cv2.CV_32F) for place in (joined, seen))
    coverage = np.asarray(within, float)[:, 0] / SECTORS
    count = cv2.GaussianBlur(each.reshape(1, -1), (2 * width + 1, 1), 0)  # along a row: a third of the time
    highest = cv2.dilate(count, np.ones((1, 2 * width + 1), np.uint8))
    peak = (count == highest)[0] & (coverage > 0.2)
    return tuple(Ring((i + 0.5) * RADIUS_STEP, float(coverage[i])) for i in np.flatnonzero(peak))


def _meeting_point(laid: PlaneEdges, fallback: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where the lines through edges along their normals come closest to meeting, far edges weighing less."""
    x, y = laid.x - np.float32(fallback[0]), laid.y - np.float32(fallback[1])
    miss = laid.nx * y - laid.ny * x
    weight = 1 / np.maximum(x * x + y * y, 1)
    far = miss * np.sqrt(weight) / np.float32(0.07)  # four degrees: the scatter of a rim's gradient
    weight /= 1 + far * far
    return _moved(fallback, -laid.ny, laid.nx, weight, miss)


def _circle_centre(laid: PlaneEdges, fallback: NDArray[np.float64]) -> NDArray[np.float64]:
    """Centre of the least-squares circle (I. Kasa, IEEE Trans. Instrum. Meas. 25, 1976)."""
    if len(laid) < 10:
        return fallback
    x, y = laid.x - np.float32(fallback[0]), laid.y - np.float32(fallback[1])
    middle = x.mean(), y.mean()
    x, y = x - middle[0], y - middle[1]  # about their mean the third unknown, the radius, drops out
    return _moved(fallback, x, y, np.float32(1), (x * x + y * y) / 2, np.array(middle, float))


def _moved(
    centre: NDArray[np.float64],
    a: NDArray[np.float32],
    b: NDArray[np.float32],
    weight: NDArray[np.float32] | np.float32,
    right: NDArray[np.float32],
    by: NDArray[np.float64] | float = 0.0,
) -> NDArray[np.float64]:
    """The centre moved by the weighted least-squares u, v of a u + b v = right, and by `by` besides; where it
    was when they leave it open or lie far off."""
    wa, wb = weight * a, weight * b
    aa, ab, bb, ar, br = (float(p) for p in (wa @ a, wa @ b, wb @ b, wa @ right, wb @ right))
    if (determinant := aa * bb - ab * ab) <= 0:
        return centre
    shift = np.array([ar * bb - br * ab, br * aa - ar * ab]) / determinant + by
    return centre + shift if math.hypot(*shift) < 12 else centre
