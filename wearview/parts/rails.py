"""Long smooth edges of a small copy of the photo: what may be one side of a strip."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.edges import edge_map

MIN_SEGMENT = 18  # pixels of the small copy; grain and noise break into shorter ones
BEND = 1.5  # pixels by which a chain may leave its chord before it counts as two segments
MOST_SEGMENTS, MOST_SEEDS = 220, 70  # wood grain and ribbed mats give thousands; sides of things come first
SHORTEST = 110  # pixels: of the side of a strip that is worth a grade
MIN_COVERED = 0.4  # of a rail's length that edges were seen on
DRIFT = 0.07  # pixels per pixel beyond what was seen by which a curve may have bent away
LEVEL = 0.07  # sine between a rail's chord and its frame from which on the frame is turned to the chord
BORDER = 8  # pixels from the frame within which an edge is taken to run out of it
SIDE = 9  # pixels from an edge at which its two sides are compared: past a groove, a crack or a rib
FULL_STEP = 13.0  # 8-bit codes across an edge from which on a stronger step says no more
MIN_STEP = 5.0  # codes; ribs of a mat, grain and cracks between planks mostly stay under 3 at this distance


@dataclass(frozen=True, slots=True, eq=False)
class Rail:
    """A smooth open curve along edges: v = curve(u) in a frame of its own.

    Attributes
    ----------
    origin, along, across : ndarray, shape (2,)
        Frame: a point and two unit vectors, small-copy pixels, x then y.
    curve : ndarray, shape (3,)
        v as a polynomial of u, highest power first.
    low, high : float
        Range of u that edges were seen in.
    covered : float
        Length of u with an edge on it.
    step : float
        Colour step between its two sides, 8-bit codes: the third part of its length has less.
    """

    origin: NDArray[np.float64]
    along: NDArray[np.float64]
    across: NDArray[np.float64]
    curve: NDArray[np.float64]
    low: float
    high: float
    covered: float
    step: float

    @property
    def length(self) -> float:
        """From end to end along u, pixels."""
        return self.high - self.low

    def points(self, u: NDArray[np.float64]) -> NDArray[np.float64]:
        """x, y of the curve at u, shape (N, 2)."""
        v = (self.curve[0] * u + self.curve[1]) * u + self.curve[2]
        return self.origin + u[:, None] * self.along + v[:, None] * self.across

    def frame(self, xy: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """u of points and their signed distance from the curve along v."""
        u, v = (xy - self.origin) @ self.along, (xy - self.origin) @ self.across
        return u, v - ((self.curve[0] * u + self.curve[1]) * u + self.curve[2])


def find_rails(small: NDArray[np.uint8]) -> list[Rail]:
    """Long smooth edges between two colours, the longest and clearest first.

    Edges that run through the whole frame belong to the bench and are left out.

    Parameters
    ----------
    small : ndarray, shape (H, W, 3), uint8
        sRGB, about 800 pixels on the long side.
    """
    average = np.asarray(cv2.blur(small, (SIDE, SIDE)), np.uint8)
    segments = _segments(edge_map(small)[0], average)
    if not len(segments):
        return []
    height, width = small.shape[:2]
    used = np.zeros(len(segments), bool)
    rails = []
    seeds = 0
    for seed in range(len(segments)):
        if used[seed]:
            continue
        if seeds == MOST_SEEDS:
            break
        seeds += 1
        rail, members = _grow(segments, seed)
        used[members] = True
        if rail.length < SHORTEST or rail.covered < MIN_COVERED * rail.length:
            continue
        if _near_border(rail.points(np.array([rail.low, rail.high])), width, height).all():
            continue
        step = _rail_step(average, rail)
        if step >= MIN_STEP:
            rails.append(
                Rail(
                    rail.origin, rail.along, rail.across, rail.curve, rail.low, rail.high, rail.covered, step
                )
            )
    return sorted(rails, key=lambda r: -r.covered * min(1.0, r.step / FULL_STEP))


def _segments(edges: NDArray[np.uint8], average: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Straight pieces of edge chains as rows x0, y0, x1, y1; long ones between two colours first."""
    chains, _ = cv2.findContours(edges, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    pieces = [np.zeros((0, 4))]
    for chain in chains:
        if len(chain) >= 2 * MIN_SEGMENT:
            corners = cv2.approxPolyDP(chain, BEND, closed=True)[:, 0].astype(float)
            pieces.append(np.hstack([corners, np.roll(corners, -1, axis=0)]))
    found = np.vstack(pieces)
    backward = (found[:, 0] > found[:, 2]) | ((found[:, 0] == found[:, 2]) & (found[:, 1] > found[:, 3]))
    found[backward] = found[backward][:, [2, 3, 0, 1]]
    found = found[np.hypot(*(found[:, 2:] - found[:, :2]).T) >= MIN_SEGMENT]
    # A thin line is walked along both its sides, which gives each piece twice.
    found = found[np.unique(np.round(found / 4), axis=0, return_index=True)[1]]
    height, width = edges.shape
    through = _near_border(found[:, :2], width, height) & _near_border(found[:, 2:], width, height)
    found = found[~through]
    if not len(found):
        return found
    run = found[:, 2:] - found[:, :2]
    length = np.hypot(run[:, 0], run[:, 1])
    normal = np.stack([-run[:, 1], run[:, 0]], axis=1) / length[:, None]
    at = found[:, None, :2] + np.linspace(0.15, 0.85, 5)[:, None] * run[:, None]
    step = np.abs(
        _look(average, at + SIDE * normal[:, None]).mean(axis=1)
        - _look(average, at - SIDE * normal[:, None]).mean(axis=1)
    ).max(axis=-1)
    worth = length * np.minimum(1, step / FULL_STEP)
    return found[np.argsort(-worth, kind="stable")[:MOST_SEGMENTS]]


def _near_border(xy: NDArray[np.float64], width: int, height: int) -> NDArray[np.bool_]:
    return np.any((xy < BORDER) | (xy > np.array([width, height]) - 1 - BORDER), axis=-1)


def _look(rgb8: NDArray[np.uint8], xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Colours at points, those outside moved to the border."""
    height, width = rgb8.shape[:2]
    x = np.clip(np.rint(xy[..., 0]).astype(int), 0, width - 1)
    y = np.clip(np.rint(xy[..., 1]).astype(int), 0, height - 1)
    return rgb8[y, x].astype(float)


def _rail_step(average: NDArray[np.uint8], rail: Rail) -> float:
    at = rail.points(np.linspace(rail.low, rail.high, 22)[1:-1])
    difference = _look(average, at + (SIDE + 1) * rail.across) - _look(average, at - (SIDE + 1) * rail.across)
    return float(np.sort(np.abs(difference).max(axis=1))[len(at) // 3])


def _grow(segments: NDArray[np.float64], seed: int) -> tuple[Rail, NDArray[np.intp]]:
    """The smooth curve that a segment is part of, and the segments on it."""
    run = segments[seed, 2:] - segments[seed, :2]
    half = float(np.hypot(*run)) / 2
    middle, along = (segments[seed, :2] + segments[seed, 2:]) / 2, run / (2 * half)
    start = Rail(middle, along, np.array([-along[1], along[0]]), np.zeros(3), -half, half, 0.0, 0.0)
    rail, members = _follow(segments, seed, start)
    if rail.length > SHORTEST:
        # A seed at one end of a bend is no frame for the rest of it.
        level = _levelled(rail)
        if abs(rail.across @ level.along) > LEVEL:
            rail, members = _follow(segments, seed, level)
    return rail, members


def _levelled(rail: Rail) -> Rail:
    """The same curve in the frame of its chord."""
    xy = rail.points(np.linspace(rail.low, rail.high, 15))
    along = (xy[-1] - xy[0]) / np.hypot(*(xy[-1] - xy[0]))
    across = np.array([-along[1], along[0]])
    origin = (xy[0] + xy[-1]) / 2
    u, v = (xy - origin) @ along, (xy - origin) @ across
    return Rail(
        origin, along, across, np.polyfit(u, v, 2), float(u[0]), float(u[-1]), rail.covered, rail.step
    )


def _follow(segments: NDArray[np.float64], seed: int, start: Rail) -> tuple[Rail, NDArray[np.intp]]:
    """A curve drawn on along the segments that continue it, in its own frame, and those segments.

    Reaches at most six tenths of what it has beyond each end, so that gaps shrink with certainty.
    """
    ends = segments.reshape(-1, 2, 2) - start.origin
    u, v = ends @ start.along, ends @ start.across
    # Segments point right or down; one nearly upright may point the other way in this frame.
    turned = u[:, 0] > u[:, 1]
    u[turned], v[turned] = u[turned, ::-1], v[turned, ::-1]
    size = np.hypot(u[:, 1] - u[:, 0], v[:, 1] - v[:, 0])
    along_it = u[:, 1] - u[:, 0] > 0.8 * size
    near = np.nonzero(along_it & (np.abs(v).max(axis=1) < 0.45 * np.abs(u).max(axis=1) + 30))[0]
    u, v, size = u[near], v[near], size[near]
    members = near == seed
    curve, low, high = start.curve, start.low, start.high
    for _ in range(6):
        reach = 0.6 * (high - low) + 15
        beyond = np.maximum(0, np.maximum(low - u, u - high))
        miss = np.abs(v - ((curve[0] * u + curve[1]) * u + curve[2]))
        fits = (miss < 2.0 + DRIFT * beyond).all(axis=1)
        new = _connected(u, fits, beyond, (low, high), reach) | (near == seed)
        if (new == members).all() and new.sum() > 1:
            break
        members = new
        low, high = float(u[members, 0].min()), float(u[members, 1].max())
        curve = _fit_curve(u[members], v[members], size[members], high - low)
    rail = Rail(start.origin, start.along, start.across, curve, low, high, _covered(u[members]), 0.0)
    return rail, near[members]


def _connected(
    u: NDArray[np.float64],
    fits: NDArray[np.bool_],
    beyond: NDArray[np.float64],
    span: tuple[float, float],
    reach: float,
) -> NDArray[np.bool_]:
    """Of the segments that fit, those within reach of the span or of one that is, nearest first."""
    low, high = span
    chosen = np.zeros(len(u), bool)
    able = np.nonzero(fits)[0]
    for i in able[np.argsort(beyond[able].min(axis=1), kind="stable")]:
        if u[i, 0] < high + reach and u[i, 1] > low - reach:
            low, high = min(low, u[i, 0]), max(high, u[i, 1])
            chosen[i] = True
    return chosen


def _fit_curve(
    u: NDArray[np.float64], v: NDArray[np.float64], size: NDArray[np.float64], span: float
) -> NDArray[np.float64]:
    """Quadratic through segments, a line where they are too short to show a bend."""
    at = np.concatenate([u[:, 0], u.mean(axis=1), u[:, 1]]) / span
    to = np.concatenate([v[:, 0], v.mean(axis=1), v[:, 1]])
    powers = np.stack([at**2, at, np.ones_like(at)])[0 if span > 90 else 1 :]
    weighted = powers * np.tile(size, 3)
    fit = np.linalg.solve(weighted @ powers.T, weighted @ to)
    return np.concatenate([np.zeros(3 - len(fit)), fit]) / np.array([span**2, span, 1.0])


def _covered(u: NDArray[np.float64]) -> float:
    """Length of the union of intervals."""
    total, end = 0.0, -np.inf
    for low, high in u[np.argsort(u[:, 0])]:
        total += max(0.0, high - max(low, end))
        end = max(end, high)
    return total
