"""Where the network sees a plate or a band: rings and ribbons for `find` and `band` to fit edges to.

A plate whose rims are faint, hidden in part or close to others' leaves too few edges in the small copy to be
found as rings; round a centre that is known its rims can still be fitted. A band's sides likewise.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.learned import AROUND, BAND_LINING, LINING, STEEL, Sight, face_span, plate_centres
from wearview.parts.plane import Plane
from wearview.parts.ribbon import Ribbon
from wearview.parts.rings import Ring, RingSet
from wearview.pieces import pieces

SEEN = 0.5  # chance of a face from which on a cell is on it
ROUNDS = 2  # of moving the centre to where the face lies round it
LEAST_SIDES = 0.35  # share of the directions in which the face's end is seen
SLACK = 0.06  # of the radius: ends further off the circle belong to something else
LEAST_BAND, LEAST_LENGTH = 100, 2.5  # cells of a band's lining; its length in widths


def ring_sets_seen(
    sight: Sight, plane: Plane, scale: float, radius_range: tuple[float, float]
) -> list[RingSet]:
    """Two rings, about a face's rims, round each centre that the network votes for.

    Parameters
    ----------
    sight : Sight
    plane : Plane
        In pixels of the small copy, as is all that follows and is returned.
    scale : float
        Working-copy pixels per small-copy pixel.
    radius_range : tuple of float
        Least and largest radius of a rim.
    """
    centres = plane.to_plane((plate_centres(sight) + 0.5) / scale - 0.5)
    found = (_rings_about(sight, plane, scale, radius_range, centre) for centre in centres)
    return [ring_set for ring_set in found if ring_set is not None]


def _rings_about(
    sight: Sight,
    plane: Plane,
    scale: float,
    radius_range: tuple[float, float],
    centre: Sequence[float] | NDArray[np.float64],
) -> RingSet | None:
    x, y = float(centre[0]), float(centre[1])
    radius = np.arange(0.5 * radius_range[0], 1.05 * radius_range[1])
    least = most = 0.0
    for _ in range(ROUNDS):
        xy = plane.circles_to_photo((x, y), AROUND, radius, scale)
        span = face_span(sight, xy)
        if span is None:
            return None
        middle = (span[0] + span[1]) // 2
        cells = sight.to_cells(xy).astype(np.float32)
        chance = sight.chance[LINING] + sight.chance[STEEL]
        on = cv2.remap(chance, cells, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT) > SEEN
        seen = on[:, middle]
        if seen.mean() < LEAST_SIDES:
            return None
        outer = middle + np.argmin(on[:, middle:], axis=1)
        inner = middle - np.argmin(on[:, middle::-1], axis=1)
        settled = _about_ends(radius[inner[seen]], radius[outer[seen]], AROUND[seen])
        if settled is None:
            return None
        dx, dy, least, most = settled
        x, y = x + dx, y + dy
    return RingSet(x, y, (Ring(least, 1.0), Ring(most, 1.0)))


def _about_ends(
    inner: NDArray[np.float64], outer: NDArray[np.float64], angle: NDArray[np.float64]
) -> tuple[float, float, float, float] | None:
    """By how much the centre is off, x and y, and the radii of both rims, from where the face ends.

    Seen from a centre that is off by a little, a circle's radius is r + dx cos + dy sin; both rims share the
    shift. Ends far off are dropped once, those of neighbours and of what lies on top.
    """
    cos, sin = np.cos(angle), np.sin(angle)
    zero, one = np.zeros_like(angle), np.ones_like(angle)
    design = np.concatenate([np.stack([cos, sin, one, zero], 1), np.stack([cos, sin, zero, one], 1)])
    ends = np.concatenate([inner, outer])
    start = np.array([0.0, 0.0, np.median(inner), np.median(outer)])
    for _ in range(2):
        kept = np.abs(ends - design @ start) < SLACK * start[3] + 2
        if kept.sum() < len(angle) / 2:
            return None
        start = np.linalg.lstsq(design[kept], ends[kept], rcond=None)[0]
    dx, dy, least, most = (float(v) for v in start)
    return (dx, dy, least, most) if 0 < least < most else None


def ribbons_seen(sight: Sight, scale: float) -> list[Ribbon]:
    """A ribbon along each stretch of band lining, in pixels of a copy `scale` times smaller than the working
    copy.

    Its middle is a parabola through the cells, its width their area over their length.
    """
    labels, stats = pieces(sight.chance[BAND_LINING] > SEEN)
    found = []
    for k in range(1, len(stats)):
        if stats[k, cv2.CC_STAT_AREA] < LEAST_BAND:
            continue
        rows, columns = np.nonzero(labels == k)
        xy = (sight.to_photo(np.stack([columns, rows], 1)) + 0.5) / scale - 0.5
        origin = xy.mean(axis=0)
        along = np.linalg.eigh(np.cov((xy - origin).T))[1][:, 1]
        along = along if along[np.abs(along).argmax()] > 0 else -along
        across = np.array([-along[1], along[0]])
        u, v = (xy - origin) @ along, (xy - origin) @ across
        low, high = float(u.min()), float(u.max())
        half = len(xy) * (sight.scale / scale) ** 2 / max(high - low, 1.0) / 2
        if high - low > LEAST_LENGTH * 2 * half:
            middle = np.polyfit(u, v, 2)
            to_side = np.array([0, 0, half])
            found.append(Ribbon(origin, along, across, middle - to_side, middle + to_side, low, high))
    return found
