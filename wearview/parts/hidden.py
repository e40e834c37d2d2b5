"""Plates of a pack that show no rings of their own, or not all: sought with the size that others tell.

In a fan many rims cross, and too little of a lower one is left; on a bench of its own colour a lining's edges
are few. Where the radius is known, every edge votes for the centres that it may belong to, one on either
side, and what a plate shows of its rims meets in one of them (the Hough transform for a circle of known
radius: R. Duda and P. Hart, Comm. ACM 15, 1972; from memory).
"""

from collections.abc import Iterator, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.candidate import Plate, face_between
from wearview.parts.choose import SURE, WHOLE, apart, as_large, is_of_pack, is_twin
from wearview.parts.edges import PlaneEdges, centre_votes
from wearview.parts.learned import AROUND, LINING, STEEL, Sight
from wearview.parts.plane import Plane
from wearview.parts.rims import fit_rim, unroll
from wearview.parts.rings import CELL, Ring, RingSet

MOST_CENTRES = 6  # tried for each size
# Of a centre that is tried: mean chance of a face round it, or votes as a share of the fewest for a plate of
# this size that was found.
LEAST_SEEN, LEAST_VOTES = 0.5, 0.5
ACROSS = np.linspace(0.15, 0.85, 4)  # of the face, from its inner rim
SAME_PLACE, IN_ROW = 0.3, 0.4  # of the radius
TWO_STEPS = 1.6  # of the shortest step between plates of a row
# Of the rim less well seen, up to which a plate's rims are sought anew where those of others would lie; by
# how much more of it must show there and the network be surer of the face, together, and by how much it may
# be less sure; and inner over outer radius within which two plates would be sought alike.
POORLY_SEEN, PLAINER, LESS_SEEN, ALIKE = 0.75, 0.04, 0.2, 0.02


def with_hidden(
    chosen: list[Plate],
    plates: list[Plate],
    laid: PlaneEdges,
    smooth: NDArray[np.uint8],
    plane: Plane,
    scale: float,
    sight: Sight,
) -> list[Plate]:
    """The plates chosen, and with them those of their pack that they half hide or that the bench swallows.

    Parameters
    ----------
    chosen : list of Plate
        Those in plain view.
    plates : list of Plate
        Every ring that was measured.
    laid : PlaneEdges
        The edges of the small copy on the plane.
    smooth : ndarray, shape (H, W, 3), uint8
        The working copy, slightly smoothed.
    plane : Plane
        In pixels of the small copy.
    scale : float
        Working-copy pixels per small-copy pixel.
    sight : Sight
        What the network sees.
    """
    sure = [plate for plate in chosen if plate.chance > SURE and plate.in_frame > WHOLE]
    out = [_better_seen(plate, sure, smooth, plane, scale, sight) for plate in chosen]
    for plate in plates:
        if _is_next(plate, sure, out, plane, scale) and all(apart(plate, other) for other in out):
            out.append(plate)
    for like in _sizes(sure):
        for x, y in _centres(like, out, laid, plane, scale, sight):
            found = _about(smooth, plane, (x, y), like, scale, sight)
            if found is None or not all(apart(found, other) for other in out):
                continue
            if is_of_pack(found, like) or _is_next(found, [like], out, plane, scale):
                out.append(found)
    return out


def _better_seen(
    plate: Plate, sure: list[Plate], smooth: NDArray[np.uint8], plane: Plane, scale: float, sight: Sight
) -> Plate:
    """The plate between the rims that one of its pack would have, where the rims and the face are both seen
    better so: what lies in it or over it, or a border of heat, was taken for a rim. On tuned photos no inner
    rim came farther from the true one."""
    best, tried = plate, [plate.ratio]
    if plate.weakest > POORLY_SEEN:
        return plate
    (centre,) = _middles([plate], plane, scale)
    for like in sure:
        if as_large(plate, like) and all(abs(like.ratio - ratio) > ALIKE for ratio in tried):
            tried.append(like.ratio)
            other = _about(smooth, plane, centre, like, scale, sight)
            if other is not None and _is_plainer(other, best):
                best = other
    return best


def _is_plainer(plate: Plate, other: Plate) -> bool:
    by_rims = plate.weakest - other.weakest
    by_face = 0.0 if plate.seen is None or other.seen is None else plate.seen.on - other.seen.on
    return by_rims > 0 and by_face > -LESS_SEEN and by_rims + by_face > PLAINER


def _sizes(sure: list[Plate]) -> list[Plate]:
    """One plate of each size."""
    sizes: list[Plate] = []
    for plate in sorted(sure, key=lambda p: -p.support):
        if not any(as_large(plate, other) for other in sizes):
            sizes.append(plate)
    return sizes


def _centres(
    like: Plate, found: list[Plate], laid: PlaneEdges, plane: Plane, scale: float, sight: Sight
) -> Iterator[tuple[float, float]]:
    """Centres on the plane about which edges lie on the rims of a plate of this size, as many as about the
    others or where the network sees a face; those of plates already found left out."""
    bounds = plane.bounds
    if bounds is None:
        return
    outer = like.radius / scale
    radii = np.array([outer * like.ratio, outer])
    votes = centre_votes(laid, bounds, radii, CELL)
    spread = int(max(2, SAME_PLACE * outer / CELL))
    peaks = votes == cv2.dilate(votes, np.ones((2 * spread + 1, 2 * spread + 1), np.uint8))
    rows, columns = np.nonzero(peaks)
    order = np.argsort(-votes[rows, columns], kind="stable")
    taken = _middles(found, plane, scale)
    near = cv2.dilate(votes, np.ones((3, 3), np.uint8))
    at = ((taken[[as_large(p, like) for p in found]] - bounds[:2]) / CELL).astype(int)
    least = LEAST_VOTES * near[at[:, 1], at[:, 0]].min()
    in_row = _places_in_row(taken)
    tried = 0
    for row, column in zip(rows[order], columns[order], strict=True):
        x, y = bounds[0] + (column + 0.5) * CELL, bounds[1] + (row + 0.5) * CELL
        if _lies_at(taken, x, y, SAME_PLACE * outer):
            continue
        if (
            votes[row, column] > least
            or _lies_at(in_row, x, y, IN_ROW * outer)
            or _face_about(sight, plane, x, y, radii, scale) > LEAST_SEEN
        ):
            yield float(x), float(y)
        tried += 1
        if tried == MOST_CENTRES:
            return


def _is_next(plate: Plate, sure: list[Plate], found: list[Plate], plane: Plane, scale: float) -> bool:
    """Whether a ring is like a sure plate in all that was measured and lies where the row of those found goes
    on, as one does that is blown out or in the dark, of which the network sees nothing. Off the row a seal
    may be as large."""
    if not any(is_twin(plate, other) for other in sure):
        return False
    ((x, y),) = _middles([plate], plane, scale)
    return _lies_at(_places_in_row(_middles(found, plane, scale)), x, y, IN_ROW * plate.radius / scale)


def _middles(plates: list[Plate], plane: Plane, scale: float) -> NDArray[np.float64]:
    """Centres of plates on the plane, (n, 2)."""
    xy = np.array([(p.outer.ellipse.cx, p.outer.ellipse.cy) for p in plates]).reshape(-1, 2)
    return plane.to_plane((xy + 0.5) / scale - 0.5)


def _lies_at(places: NDArray[np.float64], x: float, y: float, within: float) -> bool:
    """Whether a point lies within so much of one of the places (n, 2)."""
    return bool((np.hypot(places[:, 0] - x, places[:, 1] - y) < within).any())


def _places_in_row(taken: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where a row of plates would go on, (n, 2) on the plane as they are: one step and two beyond either end,
    and half way over each step that holds two."""
    if len(taken) < 2:
        return np.zeros((0, 2))
    middle = taken.mean(axis=0)
    along = np.linalg.svd(taken - middle)[2][0]
    row = taken[np.argsort((taken - middle) @ along)]
    steps = np.diff(row, axis=0)
    long = np.hypot(*steps.T)
    step = steps[long.argmin()]
    wide = long > TWO_STEPS * long.min()
    beyond = np.outer([1, 2], step)
    return np.concatenate([row[0] - beyond, row[-1] + beyond, (row[:-1] + steps / 2)[wide]])


def _face_about(
    sight: Sight, plane: Plane, x: float, y: float, radii: NDArray[np.float64], scale: float
) -> float:
    """Mean chance of a face between two circles on the plane."""
    xy = plane.circles_to_photo((x, y), AROUND, radii[0] + ACROSS * (radii[1] - radii[0]), scale)
    face = sight.chance[LINING] + sight.chance[STEEL]
    cells = sight.to_cells(xy).astype(np.float32)
    return float(cv2.remap(face, cells, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).mean())


def _about(
    smooth: NDArray[np.uint8],
    plane: Plane,
    centre: Sequence[float] | NDArray[np.float64],
    like: Plate,
    scale: float,
    sight: Sight,
) -> Plate | None:
    """The plate about a centre, its rims sought where those of a plate of its pack would lie."""
    radii = np.array([like.radius * like.ratio, like.radius])
    x, y = centre
    polar = unroll(
        smooth, plane, RingSet(float(x), float(y), tuple(Ring(r / scale, 1.0) for r in radii)), scale
    )
    at = np.searchsorted(polar.radius, radii)
    return face_between(smooth, fit_rim(polar, int(at[0]), 1), fit_rim(polar, int(at[1]), -1), sight)
