"""Find every plate and band in a photo.

1. Edges of a small copy; the bench slant that their arcs agree on.
2. On that plane, centres that concentric rings of edges share.
3. Per centre: the two rims of the face, fitted as ellipses in the working copy.
4. What lies beyond the rims: teeth make it a clutch plate.
5. Who lies on top of whom; masks.
6. Bands among what is left; kinds; order along the row.
"""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.candidate import Plate
from wearview.parts.edges import Edges, PlaneEdges, candidate_slants, find_arcs, find_edges, lay_on
from wearview.parts.kind import judge_kind, kind_features
from wearview.parts.part import Part
from wearview.parts.plane import DEFAULT_FOCAL_PER_DIAGONAL, Plane
from wearview.parts.rims import ANGLES, Rim, choose_face, fit_rim, ring_steps, unroll
from wearview.parts.rings import RingSet, find_ring_sets
from wearview.parts.stack import Visible, settle
from wearview.parts.teeth import cast_rays, toothed_side
from wearview.photo import Photo

Bounds = tuple[float, float, float, float]
SMALL = 800  # long side of the copy in which rings are sought
SMALLEST, LARGEST = 0.028, 0.52  # rim radius over the long side: a plate that fills the frame is half of it
MIN_RING_SCORE = 0.75
SURE_TEETH = 0.25  # regularity; see teeth.MIN_REGULARITY
SAME_SIZE = 0.12
MOST_HIDDEN = 0.5  # of the face; the contract grades what is left
MIN_DIAMETER = (
    150  # full-size pixels of the minor axis: a sector of 10 degrees is then 13 pixels long at the rim
)


def find_plates(working: NDArray[np.uint8], focal: float | None) -> list[Plate]:
    """Plates of a working copy, best supported first.

    Parameters
    ----------
    working : ndarray, shape (H, W, 3), uint8
        sRGB.
    focal : float or None
        Focal length in working-copy pixels; a phone's main camera is assumed when unknown.
    """
    height, width = working.shape[:2]
    factor = max(1.0, max(height, width) / SMALL)
    small = cv2.resize(working, (round(width / factor), round(height / factor)), interpolation=cv2.INTER_AREA)
    scale = width / small.shape[1]
    focal_small = (focal or DEFAULT_FOCAL_PER_DIAGONAL * math.hypot(height, width)) / scale
    plane, ring_sets = _best_plane(find_edges(small), (small.shape[1], small.shape[0]), focal_small)
    smooth = cv2.GaussianBlur(working, (0, 0), 1.0)
    plates = [p for s in ring_sets if (p := _measure(smooth, plane, s, scale)) is not None]
    return _select(plates)


def _best_plane(edges: Edges, size: tuple[int, int], focal: float) -> tuple[Plane, list[RingSet]]:
    width, height = size
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], float)
    best: tuple[float, Plane, PlaneEdges, Bounds] | None = None
    radii = (SMALLEST * max(size), LARGEST * max(size))
    for slant in candidate_slants(find_arcs(edges.map), width, height, focal)[:3]:
        plane = Plane(width, height, focal, slant)
        laid = lay_on(plane, edges)
        box = plane.to_plane(corners)
        # Towards the horizon the plane has no end; plates that far off are too small to grade.
        low = np.maximum(box.min(axis=0), -np.array(size))
        high = np.minimum(box.max(axis=0), 2 * np.array(size))
        bounds = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
        sets = find_ring_sets(laid, bounds, radii, most=8)
        value = sum(max(0.0, s.score - 1) ** 2 for s in sets)
        if best is None or value > best[0]:
            best = (value, plane, laid, bounds)
    assert best is not None  # straight down is always a candidate
    _, plane, laid, bounds = best
    return plane, [s for s in find_ring_sets(laid, bounds, radii, most=24) if s.score >= MIN_RING_SCORE]


def _measure(smooth: NDArray[np.uint8], plane: Plane, ring_set: RingSet, scale: float) -> Plate | None:
    polar = unroll(smooth, plane, ring_set, scale)
    face = choose_face(ring_steps(polar, 0.3), polar.radius)
    if face is None:
        return None
    inner, outer = fit_rim(polar, face[0].index, 1), fit_rim(polar, face[1].index, -1)
    if inner is None or outer is None or not _belong_together(outer, inner):
        return None
    rays = cast_rays(smooth, outer.ellipse, inner.ellipse)
    nothing_over = np.zeros(ANGLES, bool)
    outside, inside = toothed_side(rays, nothing_over)
    return Plate(outer, inner, rays, outside, inside, float(polar.radius[face[1].index]), nothing_over)


def _belong_together(outer: Rim, inner: Rim) -> bool:
    """Whether two ellipses can be the rims of one flat ring."""
    a, b = outer.ellipse, inner.ellipse
    apart = math.hypot(a.cx - b.cx, a.cy - b.cy)
    aspect_a, aspect_b = a.minor / a.major, b.minor / b.major
    return b.major < 0.95 * a.major and apart < 0.06 * a.major and abs(aspect_a - aspect_b) < 0.08


def _select(plates: list[Plate]) -> list[Plate]:
    """Plates with teeth, and those without visible teeth that match them in size and are well supported."""
    plates = sorted(plates, key=lambda p: -(p.support + p.teeth))
    toothed = [p for p in plates if p.teeth >= SURE_TEETH and p.support > 0.35]
    if not toothed:
        return []
    largest = max(p.radius for p in toothed)
    sizes = [p.radius for p in toothed if p.radius > 0.5 * largest]
    chosen: list[Plate] = []
    for plate in plates:
        alike = any(abs(plate.radius - size) < SAME_SIZE * size for size in sizes)
        sure = plate.teeth >= SURE_TEETH and plate.support > 0.35 and plate.radius > 0.5 * largest
        if not (sure or (alike and plate.support > 0.7)):
            continue
        if all(_apart(plate, other) for other in chosen):
            chosen.append(plate)
    return chosen


def _apart(a: Plate, b: Plate) -> bool:
    ea, eb = a.outer.ellipse, b.outer.ellipse
    return math.hypot(ea.cx - eb.cx, ea.cy - eb.cy) > 0.3 * min(ea.major, eb.major) / 2


def find_parts(photo: Photo) -> tuple[Part, ...]:
    """Every plate and band of a photo, in no particular order.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    tuple of Part
        Empty when nothing in view looks like a clutch plate or band.
    """
    focal = photo.focal_px / photo.scale if photo.focal_px else None
    plates = find_plates(photo.working, focal)
    shape = photo.working.shape[:2]
    parts = [_plate_part(v, photo) for v in settle(plates, shape)]
    taken = np.zeros(shape, bool)
    for part in parts:
        h, w = part.part_mask.shape
        taken[part.origin[1] : part.origin[1] + h, part.origin[0] : part.origin[0] + w] |= part.part_mask
    return tuple(parts)


def _plate_part(visible: Visible, photo: Photo) -> Part:
    plate, masks = visible.plate, visible.masks
    features = kind_features(visible)
    kind, confidence = judge_kind(features)
    outer, inner = plate.outer.ellipse, plate.inner.ellipse
    problems = []
    height, width = photo.working.shape[:2]
    rim = outer.points(np.arange(180) * (2 * math.pi / 180))
    inside = (rim >= 0).all(axis=1) & (rim[:, 0] <= width - 1) & (rim[:, 1] <= height - 1)
    if inside.mean() < 0.99:
        problems.append("cut off by the frame")
    if visible.hidden_share > MOST_HIDDEN:
        problems.append("covered")
    if outer.minor * photo.scale < MIN_DIAMETER:
        problems.append("too small")
    return Part(
        kind=kind,
        kind_confidence=confidence,
        outer=outer.scaled(photo.scale),
        inner=inner.scaled(photo.scale),
        spine=None,
        width=math.nan,
        origin=masks.origin,
        part_mask=masks.part,
        face_mask=masks.face,
        metal_mask=masks.metal,
        scale=photo.scale,
        problems=tuple(problems),
        evidence=features | {"teeth": plate.teeth, "support": plate.support},
    )
