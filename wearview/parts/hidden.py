"""Plates of a pack that others half hide: sought with the size that a plate in plain view tells.

In a fan many rims cross, and too little of a lower one is left to show as a ring of its own. Where the radius
is known, every edge votes for the centres that it may belong to, one on either side, and what a plate shows
of its rims meets in one of them (the Hough transform for a circle of known radius: R. Duda and P. Hart, Comm.
ACM 15, 1972; from memory).
"""

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.candidate import Plate, face_between
from wearview.parts.choose import SURE, WHOLE, apart, as_large, is_of_pack
from wearview.parts.edges import PlaneEdges, centre_votes
from wearview.parts.learned import AROUND, LINING, STEEL, Sight
from wearview.parts.plane import Plane
from wearview.parts.rims import fit_rim, unroll
from wearview.parts.rings import CELL, Ring, RingSet

MOST_CENTRES = 6  # tried for each size
LEAST_SEEN = 0.5  # mean chance of a face round a centre that is tried
ACROSS = np.linspace(0.15, 0.85, 4)  # of the face, from its inner rim
SAME_PLACE = 0.3  # of the radius


def with_hidden(
    chosen: list[Plate],
    laid: PlaneEdges,
    smooth: NDArray[np.uint8],
    plane: Plane,
    scale: float,
    sight: Sight,
) -> list[Plate]:
    """The plates chosen, and with them those of their pack that they half hide.

    Parameters
    ----------
    chosen : list of Plate
        Those in plain view.
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
    out = list(chosen)
    for like in _sizes([p for p in chosen if p.chance > SURE and p.in_frame > WHOLE]):
        for x, y in _centres(like, out, laid, plane, scale, sight):
            found = _about(smooth, plane, x, y, like, scale, sight)
            if found is not None and is_of_pack(found, like) and all(apart(found, other) for other in out):
                out.append(found)
    return out


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
    """Centres on the plane about which edges lie on the rims of a plate of this size and the network sees a
    face, those of plates already found left out."""
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
    middles = np.array([(p.outer.ellipse.cx, p.outer.ellipse.cy) for p in found]).reshape(-1, 2)
    taken = plane.to_plane((middles + 0.5) / scale - 0.5)
    tried = 0
    for row, column in zip(rows[order], columns[order], strict=True):
        x, y = bounds[0] + (column + 0.5) * CELL, bounds[1] + (row + 0.5) * CELL
        if (np.hypot(taken[:, 0] - x, taken[:, 1] - y) < SAME_PLACE * outer).any():
            continue
        if _face_about(sight, plane, x, y, radii, scale) > LEAST_SEEN:
            yield float(x), float(y)
        tried += 1
        if tried == MOST_CENTRES:
            return


def _face_about(
    sight: Sight, plane: Plane, x: float, y: float, radii: NDArray[np.float64], scale: float
) -> float:
    """Mean chance of a face between two circles on the plane."""
    xy = plane.circles_to_photo((x, y), AROUND, radii[0] + ACROSS * (radii[1] - radii[0]), scale)
    face = sight.chance[LINING] + sight.chance[STEEL]
    cells = sight.to_cells(xy).astype(np.float32)
    return float(cv2.remap(face, cells, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).mean())


def _about(
    smooth: NDArray[np.uint8], plane: Plane, x: float, y: float, like: Plate, scale: float, sight: Sight
) -> Plate | None:
    """The plate about a centre, its rims sought where those of a plate of its pack would lie."""
    radii = np.array([like.radius * like.ratio, like.radius])
    polar = unroll(smooth, plane, RingSet(x, y, tuple(Ring(r / scale, 1.0) for r in radii)), scale)
    at = np.searchsorted(polar.radius, radii)
    return face_between(smooth, fit_rim(polar, int(at[0]), 1), fit_rim(polar, int(at[1]), -1), sight)
