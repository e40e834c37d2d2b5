"""Edge points of a small copy of the photo, the slant they agree on, and the centres their normals meet
in."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.part import Ellipse
from wearview.parts.plane import Plane, slants_of_ellipse
from wearview.pieces import pieces
from wearview.ranks import quantile

MAX_EDGES = 30_000  # wood grain can give ten times as many; the strongest hold the rims
MIN_CHAIN = 18  # pixels in a connected edge: grain and noise break into shorter ones, rims do not
ARC_LENGTH = 45  # shortest chain of edge pixels worth an ellipse: shorter ones lie about their aspect
ARC_RESIDUAL = 0.9  # pixels, root mean square: a true rim sampled on the pixel grid stays under 0.5
ARC_TURN = math.radians(110)  # an arc that turns less fits many ellipses
STEEPEST = 1.0  # radians; past 57 degrees a face shows half its width and its far side is out of focus
VOTES_AT_ONCE = 120_000  # what the processor keeps near: all votes in one array take twice the time
SLANT_MERGE = 0.06  # radians between slants that are taken for one


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Edge points with the direction in which the picture changes most.

    Attributes
    ----------
    xy : ndarray, shape (N, 2)
        Pixel positions in the small copy.
    normal : ndarray, shape (N, 2)
        Unit gradient direction, towards brighter.
    map : ndarray, shape (H, W), uint8
        255 on every edge of a long enough chain, those beyond `MAX_EDGES` too.
    """

    xy: NDArray[np.float64]
    normal: NDArray[np.float64]
    map: NDArray[np.uint8]


def edge_map(
    rgb8: NDArray[np.uint8],
) -> tuple[NDArray[np.uint8], NDArray[np.int16], NDArray[np.int16]]:
    """Thin edges from whichever colour channel changes most (J. Canny, IEEE PAMI 8, 1986).

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8

    Returns
    -------
    tuple of ndarray, shape (H, W)
        255 on an edge, and the change of that channel across and down, eight times codes per pixel.
    """
    smooth = np.asarray(cv2.GaussianBlur(rgb8, (0, 0), 1.2), np.uint8)
    best_x, best_y, best = _gradient(smooth[..., 0])
    for channel in (1, 2):
        dx, dy, size = _gradient(smooth[..., channel])
        stronger = cv2.compare(size, best, cv2.CMP_GT)
        for source, target in ((dx, best_x), (dy, best_y), (size, best)):
            cv2.copyTo(source, stronger, target)
    # Little of a photo is edge; what is under the 90th percentile is bench texture and noise.
    high = float(max(60, quantile(best[::4, ::4], 0.9)))
    return np.asarray(cv2.Canny(best_x, best_y, 0.45 * high, high), np.uint8), best_x, best_y


def _gradient(channel: NDArray[np.uint8]) -> tuple[NDArray[np.int16], NDArray[np.int16], NDArray[np.int16]]:
    dx, dy = (np.asarray(d, np.int16) for d in cv2.spatialGradient(np.ascontiguousarray(channel)))
    size = np.abs(dx)
    size += np.abs(dy)
    return dx, dy, size


def find_edges(rgb8: NDArray[np.uint8]) -> Edges:
    """Edge points of a picture in chains long enough to be part of a rim.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
    """
    thin, dx, dy = edge_map(rgb8)
    label, stats = pieces(thin)
    chained = np.where(stats[:, cv2.CC_STAT_AREA] >= MIN_CHAIN, 255, 0).astype(np.uint8)
    chained[0] = 0
    chains = chained.take(label)
    points = cv2.findNonZero(chains)
    x, y = (np.zeros((0, 2), int) if points is None else points.reshape(-1, 2)).T
    gx, gy = dx[y, x].astype(float), dy[y, x].astype(float)
    strength = np.hypot(gx, gy)
    if len(x) > MAX_EDGES:
        keep = np.argpartition(-strength, MAX_EDGES)[:MAX_EDGES]
        keep.sort()
        x, y, gx, gy, strength = x[keep], y[keep], gx[keep], gy[keep], strength[keep]
    length = np.maximum(strength, 1e-6)
    return Edges(
        np.stack([x, y], axis=1).astype(float),
        np.stack([gx, gy], axis=1) / length[:, None],
        chains,
    )


def find_arcs(edge_map: NDArray[np.uint8], most: int = 60) -> list[Ellipse]:
    """Ellipses of the long smooth arcs in an edge map.

    A chain that no ellipse fits is halved until one does or it is too short.
    """
    contours, _ = cv2.findContours(edge_map, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    chains = sorted((c[:, 0, :] for c in contours if len(c) >= ARC_LENGTH), key=len, reverse=True)[: 3 * most]
    found: list[Ellipse] = []
    while chains and len(found) < most:
        chain = chains.pop(0)
        arc = _fit_arc(chain)
        if arc is not None:
            found.append(arc)
        elif len(chain) >= 2 * ARC_LENGTH:
            half = len(chain) // 2
            chains.extend([chain[:half], chain[half:]])
    return found


def _fit_arc(chain: NDArray[np.int32]) -> Ellipse | None:
    (cx, cy), (d1, d2), angle = cv2.fitEllipseDirect(chain.astype(np.float32))
    if not (math.isfinite(d1) and math.isfinite(d2)) or min(d1, d2) < 12 or min(d1, d2) < 0.3 * max(d1, d2):
        return None
    major, minor, angle = (d1, d2, angle) if d1 >= d2 else (d2, d1, angle + 90)
    t = math.radians(angle)
    dx, dy = chain[:, 0] - cx, chain[:, 1] - cy
    u = (math.cos(t) * dx + math.sin(t) * dy) / (major / 2)
    v = (-math.sin(t) * dx + math.cos(t) * dy) / (minor / 2)
    residual = (np.hypot(u, v) - 1) * minor / 2
    if math.sqrt(float(np.mean(residual**2))) > ARC_RESIDUAL:
        return None
    seen = np.unique((np.arctan2(v, u) * (18 / math.pi)).astype(int))
    if len(seen) * math.radians(10) < ARC_TURN:
        return None
    return Ellipse(cx, cy, major, minor, angle % 180)


def candidate_slants(
    arcs: list[Ellipse], width: int, height: int, focal: float, most: int
) -> list[tuple[float, float]]:
    """Slants that most arc length agrees on, best first; last, where none is near it, straight down."""
    poses, weights = [], []
    for arc in arcs:
        for slant in slants_of_ellipse(arc, width, height, focal):
            if math.hypot(*slant) < STEEPEST:
                poses.append(slant)
                weights.append(arc.major)
    found: list[tuple[float, float]] = []
    if poses:
        at, weight = np.array(poses), np.array(weights)
        near = np.exp(-(((at[:, None] - at[None]) ** 2).sum(-1)) / (2 * SLANT_MERGE**2))
        support = near @ weight
        while len(found) < most and support.max() > 0:
            best = int(support.argmax())
            pull = near[best] * weight
            found.append(tuple((pull @ at / pull.sum()).tolist()))
            support[np.hypot(*(at - at[best]).T) < 2 * SLANT_MERGE] = 0
    if all(math.hypot(*s) > SLANT_MERGE for s in found):
        found.append((0.0, 0.0))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class PlaneEdges:
    """Edge points laid on a plane: position and unit normal towards brighter, each of shape (N,).

    In arrays of their own and in single precision, since every centre looks at all of them: a thousandth of a
    pixel is left.
    """

    x: NDArray[np.float32]
    y: NDArray[np.float32]
    nx: NDArray[np.float32]
    ny: NDArray[np.float32]

    def __getitem__(self, chosen: slice | NDArray[np.intp]) -> "PlaneEdges":
        return PlaneEdges(self.x[chosen], self.y[chosen], self.nx[chosen], self.ny[chosen])

    def __len__(self) -> int:
        return len(self.x)


def lay_on(plane: Plane, edges: Edges) -> PlaneEdges:
    """The edge points on the plane; normals stay at right angles to the edge, not to its image."""
    tangent = np.stack([-edges.normal[:, 1], edges.normal[:, 0]], axis=1)
    middle = plane.to_plane(edges.xy)
    along = plane.to_plane(edges.xy + tangent) - middle
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)
    columns = (middle[:, 0], middle[:, 1], along[:, 1] / length, -along[:, 0] / length)
    return PlaneEdges(*(np.ascontiguousarray(column, np.float32) for column in columns))


def centre_votes(
    laid: PlaneEdges, bounds: tuple[float, float, float, float], radii: NDArray[np.float64], cell: float
) -> NDArray[np.float32]:
    """How many edge normals pass each cell of the plane at a distance among `radii`.

    The circles of one plate share a centre on the plane, so face edges, core and tooth roots all vote for it
    (D. Ballard, Pattern Recognition 13, 1981, with the gradient direction).

    Parameters
    ----------
    bounds : tuple of float
        x0, y0, x1, y1 of the voted region on the plane.
    radii : ndarray
        Distances along the normal, both ways.
    cell : float
        Cell size in plane pixels.
    """
    x0, y0, x1, y1 = bounds
    columns, rows = int((x1 - x0) / cell) + 1, int((y1 - y0) / cell) + 1
    # One cell more all round takes the votes that leave the region.
    x, y = (laid.x - np.float32(x0)) / np.float32(cell) + 1, (laid.y - np.float32(y0)) / np.float32(cell) + 1
    votes = np.zeros((rows + 2) * (columns + 2))
    reach = np.concatenate([radii, -radii]) / cell
    blocks = math.ceil(len(reach) * max(1, len(laid)) / VOTES_AT_ONCE)
    for some in np.array_split(reach.astype(np.float32)[:, None], blocks):
        place = np.trunc(np.clip(y + some * laid.ny, 0, rows + 1)) * np.float32(columns + 2)
        place += np.trunc(np.clip(x + some * laid.nx, 0, columns + 1))
        # A circle of twice the radius has twice the edge points: weigh by 1 / radius so that size alone wins
        # nothing.
        weight = np.repeat((1 / np.abs(some)).astype(float), len(laid))
        votes += np.bincount(place.astype(np.intp).ravel(), weight, minlength=len(votes))
    inside = votes.reshape(rows + 2, columns + 2)[1:-1, 1:-1]
    return np.asarray(cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 1.0), np.float32)
