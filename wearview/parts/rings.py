"""Rings on the bench plane: which centres carry concentric edges that go most of the way round."""

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
        return sum(sorted((ring.coverage for ring in self.rings), reverse=True)[:2])

    @property
    def reach(self) -> float:
        """Radius of the outermost ring."""
        return self.rings[-1].radius


def find_ring_sets(
    laid: PlaneEdges,
    bounds: tuple[float, float, float, float],
    radius_range: tuple[float, float],
    most: int,
    voters: int,
) -> list[RingSet]:
    """Ring sets with at least two rings, best first.

    Parameters
    ----------
    laid : PlaneEdges
    bounds : tuple of float
        x0, y0, x1, y1 of the photo on the plane.
    radius_range : tuple of float
        Smallest and largest rim radius in plane pixels.
    most : int
        Ring sets returned at most; twice as many centres are tried.
    voters : int
        Edge points that vote for centres; all of them then measure the rings.
    """
    low, high = radius_range
    every = max(1, len(laid.xy) // voters)
    voting = PlaneEdges(laid.xy[::every], laid.normal[::every], laid.strength[::every])
    votes = centre_votes(voting, bounds, np.arange(low, high, CELL), CELL)
    # Ribs and planks send votes far and wide; a plate's meet in one cell.
    votes = votes - cv2.blur(votes, (11, 11))
    spread = int(max(2, 0.35 * low / CELL))
    peaks = (votes == cv2.dilate(votes, np.ones((2 * spread + 1, 2 * spread + 1), np.uint8))) & (votes > 0)
    rows, columns = np.nonzero(peaks)
    order = np.argsort(-votes[rows, columns])[: 2 * most]
    found: list[RingSet] = []
    for row, column in zip(rows[order], columns[order], strict=True):
        centre = np.array([bounds[0] + (column + 0.5) * CELL, bounds[1] + (row + 0.5) * CELL])
        ring_set = _settle(laid, centre, low, high)
        if ring_set is None:
            continue
        if all(np.hypot(ring_set.x - other.x, ring_set.y - other.y) > 0.5 * low for other in found):
            found.append(ring_set)
    found.sort(key=lambda s: -s.score)
    return found[:most]


def _settle(laid: PlaneEdges, centre: NDArray[np.float64], low: float, high: float) -> RingSet | None:
    """Rings round a rough centre, the centre moved to fit the best of them."""
    rings: tuple[Ring, ...] = ()
    near: NDArray[np.int64] | None = None
    for tolerance in (6.0, 3.0, 2.0):
        xy, normal = (laid.xy, laid.normal) if near is None else (laid.xy[near], laid.normal[near])
        x, y = xy[:, 0] - centre[0], xy[:, 1] - centre[1]
        squared = x * x + y * y
        towards = x * normal[:, 0] + y * normal[:, 1]
        facing = (towards * towards > FACING**2 * squared) & (squared > (0.8 * low) ** 2)
        at = np.flatnonzero(facing & (squared < (1.05 * high) ** 2))
        if len(at) < 40:
            return None
        radius, offset = np.sqrt(squared), np.stack([x, y], axis=1)
        rings = _rings(radius[at], offset[at], tolerance)
        if not rings:
            return None
        if near is None:
            # Hot bands crowd the rings of a plate together; the normals of all of them still meet in one
            # point.
            centre = _meeting_point(xy[at], normal[at], centre)
        else:
            best = max(rings, key=lambda ring: ring.coverage * ring.radius)
            on = at[np.abs(radius[at] - best.radius) < tolerance]
            centre = _circle_centre(xy[on], centre)
        if near is None:
            # The centre moves by a few pixels from here on: what faces it by far stays out.
            slack = towards * towards > (0.93 * FACING) ** 2 * squared
            near = np.flatnonzero(slack & (squared > (0.6 * low) ** 2) & (squared < (1.1 * high) ** 2))
    good = tuple(ring for ring in rings if ring.coverage >= MIN_COVERAGE)
    return RingSet(float(centre[0]), float(centre[1]), good) if len(good) >= 2 else None


def _rings(radius: NDArray[np.float64], offset: NDArray[np.float64], tolerance: float) -> tuple[Ring, ...]:
    sector = ((np.arctan2(offset[:, 1], offset[:, 0]) / (2 * np.pi) + 0.5) * SECTORS).astype(int) % SECTORS
    step = (radius / RADIUS_STEP).astype(int)
    seen = np.zeros((step.max() + 2, SECTORS), np.uint8)
    seen[step, sector] = 1
    width = max(3, round(tolerance / RADIUS_STEP) * 2 - 1)
    joined = cv2.dilate(seen, np.ones((width, 1), np.uint8))
    coverage = joined.mean(axis=1)
    count = cv2.GaussianBlur(seen.sum(axis=1, dtype=np.float32)[:, None], (1, 2 * width + 1), 0)[:, 0]
    peak = (count == cv2.dilate(count[:, None], np.ones((2 * width + 1, 1), np.uint8))[:, 0]) & (
        coverage > 0.2
    )
    return tuple(Ring((i + 0.5) * RADIUS_STEP, float(coverage[i])) for i in np.flatnonzero(peak))


def _meeting_point(
    xy: NDArray[np.float64], normal: NDArray[np.float64], fallback: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Where lines through `xy` along `normal` come closest to meeting, far edges weighing less."""
    across = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    offset = xy - fallback
    miss = (across * offset).sum(axis=1)
    weight = 1 / np.maximum((offset**2).sum(axis=1), 1)
    weight /= 1 + (miss * np.sqrt(weight) / 0.07) ** 2  # four degrees: the scatter of a rim's gradient
    shift = np.linalg.lstsq(
        (across * weight[:, None]).T @ across, (across * weight[:, None]).T @ miss, rcond=None
    )[0]
    return fallback + shift if np.hypot(*shift) < 12 else fallback


def _circle_centre(xy: NDArray[np.float64], fallback: NDArray[np.float64]) -> NDArray[np.float64]:
    """Centre of the least-squares circle (I. Kasa, IEEE Trans. Instrum. Meas. 25, 1976)."""
    if len(xy) < 10:
        return fallback
    moved = xy - fallback
    design = np.column_stack([moved, np.ones(len(xy))])
    solution, *_ = np.linalg.lstsq(design, (moved**2).sum(1), rcond=None)
    shift = solution[:2] / 2
    return fallback + shift if np.hypot(*shift) < 12 else fallback
