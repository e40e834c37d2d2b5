"""Find every plate and band in a photo.

1. Edges of a small copy; the bench slant that their arcs agree on.
2. On that plane, centres that concentric rings of edges share.
3. Per centre: the two rims of the face, fitted as ellipses in the working copy; made finer once chosen.
4. What lies beyond the rims: teeth make it a clutch plate.
5. Who lies on top of whom; masks.
6. Bands among what is left; kinds; order along the row.
"""

import math
from dataclasses import astuple, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.as_part import band_part, edge_on_part, plate_part
from wearview.parts.band import Band, find_bands
from wearview.parts.candidate import (
    Plate,
    belong_together,
    face_between,
    most_worth,
    plate_between,
    seen_between,
)
from wearview.parts.choose import likeliest, select
from wearview.parts.corrected import Corrections, lies_on, put_right, stated_band
from wearview.parts.edge_on import EdgeOn, plates_on_edge
from wearview.parts.edges import Edges, PlaneEdges, candidate_slants, find_arcs, find_edges, lay_on
from wearview.parts.finer import finer_rims
from wearview.parts.hidden import with_hidden
from wearview.parts.learned import Sight, band_seen, face_span, look
from wearview.parts.part import Part
from wearview.parts.plane import DEFAULT_FOCAL_PER_DIAGONAL, Plane, slants_of_ellipse
from wearview.parts.proposed import ring_sets_seen
from wearview.parts.rims import (
    TURN,
    Polar,
    Rim,
    fit_rim,
    possible_faces,
    ring_steps,
    robust_ellipse,
    unroll,
)
from wearview.parts.rings import Ring, RingSet, settle_ring_sets, voted_centres
from wearview.parts.stack import Visible, settle
from wearview.parts.teeth import cast_rays
from wearview.photo import Photo

NOTHING_SAID = Corrections()
SMALL = 800  # long side of the copy in which rings are sought
SMALLEST, LARGEST = 0.028, 0.52  # rim radius over the long side: a plate that fills the frame is half of it
MOST_RING_SETS = 16
VOTERS = 6000  # edges that vote for centres; with 9000 the same plates are found
MIN_RING_SCORE = 0.75
# Where one ring comes full circle, or many nearly do, no other slant is tried: score of one, value of all.
# In 40 tuned photos no other slant was better then.
ROUND_ENOUGH, ENOUGH_ROUND = 1.85, 1.4
LITTLE_ROUND = 0.05  # value up to which rings say nothing of the slant, so that the flattest is taken
DOUBTED = 0.9  # chance under which a photo whose plates are all less sure is searched for a band
SAME_CENTRE = 0.1  # of the radius
FACE_SEEN = 0.5  # mean chance of a face on a plate that the network sees
SAME_RIM = 0.03  # working-copy pixels, of centre and axes
LEAST_BAND = 0.25  # mean chance of a band's lining along its middle


def find_plates(
    working: NDArray[np.uint8], focal: float | None, sight: Sight | None = None, *, in_view: bool = False
) -> list[Plate]:
    """Plates of a working copy, best supported first, their rims made finer; see `rough_plates`."""
    smooth = smoothed(working)
    found = rough_plates(working, smooth, focal, sight, in_view=in_view)
    return [_with_finer_rims(plate, working, smooth) for plate in found]


def smoothed(working: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The working copy as edges are sought in it."""
    return np.asarray(cv2.GaussianBlur(working, (0, 0), 1.0), np.uint8)


def rough_plates(
    working: NDArray[np.uint8],
    smooth: NDArray[np.uint8],
    focal: float | None,
    sight: Sight | None,
    *,
    in_view: bool = False,
) -> list[Plate]:
    """Plates of a working copy, best supported first, their rims on the strongest edges.

    Parameters
    ----------
    working, smooth : ndarray, shape (H, W, 3), uint8
        sRGB; as it is and `smoothed`.
    focal : float or None
        Focal length in working-copy pixels; a phone's main camera is assumed when unknown.
    sight : Sight or None
        What the network sees: proposes centres beside those of the rings and casts doubt on faces.
    in_view : bool
        A person says that a plate is in view: where none is sure, the likeliest is one.
    """
    plates, laid, plane, scale = measured_rings(working, smooth, focal, sight)
    chosen = select(plates) or (likeliest(plates) if in_view else [])
    return chosen if sight is None else with_hidden(chosen, plates, laid, smooth, plane, scale, sight)


def measured_rings(
    working: NDArray[np.uint8], smooth: NDArray[np.uint8], focal: float | None, sight: Sight | None
) -> tuple[list[Plate], PlaneEdges, Plane, float]:
    """Every ring that may be a plate; the edges of the small copy on its plane, that plane, and working-copy
    pixels per small-copy pixel. For the parameters see `rough_plates`."""
    height, width = working.shape[:2]
    factor = max(1.0, max(height, width) / SMALL)
    small = cv2.resize(working, (round(width / factor), round(height / factor)), interpolation=cv2.INTER_AREA)
    scale = width / small.shape[1]
    focal_small = (focal or DEFAULT_FOCAL_PER_DIAGONAL * math.hypot(height, width)) / scale
    edges, size = find_edges(small), (small.shape[1], small.shape[0])
    plane, laid, ring_sets = _best_plane(edges, size, focal_small)
    plates = [p for s in ring_sets if (p := _measure(smooth, plane, s, scale, sight)) is not None]
    if sight is not None:
        for ring_set in ring_sets_seen(sight, plane, scale, _radius_range(size)):
            if not any(_is_round(p, plane, ring_set, scale) for p in plates):
                proposed = _measure(smooth, plane, ring_set, scale, sight)
                plates += [] if proposed is None else [proposed]
    return plates, laid, plane, scale


def _with_finer_rims(plate: Plate, working: NDArray[np.uint8], smooth: NDArray[np.uint8]) -> Plate:
    """The plate with its rims made finer and its rays cast anew; its teeth stay, for to read them again takes
    longer than both."""
    outer, inner = finer_rims(working, plate)
    if not belong_together(outer, inner):
        return plate
    rays = cast_rays(smooth, outer.ellipse, inner.ellipse)
    by = rays.ratio - plate.ratio
    inside = replace(plate.inside, root=plate.inside.root + by, tip=plate.inside.tip + by)
    return replace(plate, outer=outer, inner=inner, rays=rays, inside=inside, radius=outer.radius)


def _is_round(plate: Plate, plane: Plane, ring_set: RingSet, scale: float) -> bool:
    """Whether a plate that was found, its face seen by the network, lies about the centre of a ring set."""
    outer = plate.outer.ellipse
    x, y = plane.to_plane((np.array([[outer.cx, outer.cy]]) + 0.5) / scale - 0.5)[0]
    near = math.hypot(x - ring_set.x, y - ring_set.y) < SAME_CENTRE * ring_set.reach
    return near and plate.seen is not None and plate.seen.on > FACE_SEEN


def _best_plane(edges: Edges, size: tuple[int, int], focal: float) -> tuple[Plane, PlaneEdges, list[RingSet]]:
    """The slant under which most rings are round, made finer by the rings found under it; the edges and rings
    on it."""
    best: tuple[float, Plane, PlaneEdges, list[RingSet]] | None = None
    arcs = find_arcs(edges.map)
    arc_centres = np.array([(arc.cx, arc.cy) for arc in arcs]).reshape(-1, 2)
    for slant in candidate_slants(arcs, *size, focal, most=4):
        if best is not None and best[0] > LITTLE_ROUND and slant == (0.0, 0.0):
            break  # the last resort
        plane = Plane(*size, focal, slant)
        laid = lay_on(plane, edges)
        centres = [*plane.to_plane(arc_centres), *_voted_centres(plane, laid, size)]
        sets = settle_ring_sets(laid, centres, _radius_range(size), MOST_RING_SETS)
        value = sum(max(0.0, s.score - 1) ** 2 for s in sets)
        worth = value if value > LITTLE_ROUND else -math.hypot(*slant)
        if best is None or worth > best[0]:
            best = (worth, plane, laid, sets)
        if value > ENOUGH_ROUND or any(s.score > ROUND_ENOUGH for s in sets):
            break  # under another slant no ring would come full circle
    assert best is not None  # straight down is always a candidate
    _, plane, laid, sets = best
    finer = _finer_slant(plane, laid, edges, sets)
    if math.dist(finer, plane.slant) > 0.004:
        seen = plane.to_photo(np.array([(s.x, s.y) for s in sets]))
        plane = Plane(*size, focal, finer)
        laid = lay_on(plane, edges)
        sets = settle_ring_sets(laid, list(plane.to_plane(seen)), _radius_range(size), MOST_RING_SETS)
    return plane, laid, [s for s in sets if s.score >= MIN_RING_SCORE]


def _radius_range(size: tuple[int, int]) -> tuple[float, float]:
    return SMALLEST * max(size), LARGEST * max(size)


def _voted_centres(plane: Plane, laid: PlaneEdges, size: tuple[int, int]) -> list[NDArray[np.float64]]:
    bounds = plane.bounds
    if bounds is None:
        return []
    return voted_centres(
        laid[:: max(1, len(laid) // VOTERS)], bounds, _radius_range(size), 2 * MOST_RING_SETS
    )


def _finer_slant(plane: Plane, laid: PlaneEdges, edges: Edges, sets: list[RingSet]) -> tuple[float, float]:
    """Mean of the slants of ellipses fitted to the best rings, those near the plane's own."""
    slants, weights = [np.array(plane.slant)], [1e-3]
    for ring_set in sets:
        for ring in ring_set.rings:
            if ring.coverage < 0.6:
                continue
            x, y = laid.x - ring_set.x, laid.y - ring_set.y
            radius = np.hypot(x, y)
            facing = np.abs(x * laid.nx + y * laid.ny) > 0.95 * radius
            ellipse = robust_ellipse(edges.xy[facing & (np.abs(radius - ring.radius) < 2.5)])
            if ellipse is None:
                continue
            for slant in slants_of_ellipse(ellipse, plane.width, plane.height, plane.focal):
                if math.dist(slant, plane.slant) < 0.08:
                    slants.append(np.array(slant))
                    weights.append(ring.coverage**2 * ring.radius)
    mean = np.average(slants, axis=0, weights=weights)
    return float(mean[0]), float(mean[1])


def _measure(
    smooth: NDArray[np.uint8], plane: Plane, ring_set: RingSet, scale: float, sight: Sight | None
) -> Plate | None:
    """The plate round a ring set, its rims fitted again once they have shown where its centre is."""
    plate = _best_face(smooth, unroll(smooth, plane, ring_set, scale), sight)
    if plate is None:
        return None
    rims = [
        plane.to_plane((rim.ellipse.points(TURN[::10]) + 0.5) / scale - 0.5)
        for rim in (plate.inner, plate.outer)
    ]
    centre = rims[1].mean(axis=0)
    if math.dist(centre, (ring_set.x, ring_set.y)) < 0.8:
        return plate
    inner, outer = (float(np.hypot(*(rim - centre).T).mean()) for rim in rims)
    finer = RingSet(float(centre[0]), float(centre[1]), (Ring(inner, 1.0), Ring(outer, 1.0)))
    polar = unroll(smooth, plane, finer, scale)
    at = np.searchsorted(polar.radius, (inner * scale, outer * scale))
    again = face_between(smooth, fit_rim(polar, int(at[0]), 1), fit_rim(polar, int(at[1]), -1), sight)
    same = again is not None and abs(again.radius - plate.radius) < 0.1 * plate.radius
    return again if again is not None and same and again.worth > plate.worth else plate


def _best_face(smooth: NDArray[np.uint8], polar: Polar, sight: Sight | None) -> Plate | None:
    """Of the faces that the rings round a centre allow, the one worth most."""
    fitted: dict[tuple[int, int], Rim | None] = {}
    tried: set[tuple[int, int]] = set()
    best, best_worth = None, -math.inf
    steps = ring_steps(polar, 0.28)
    spans = [(inner.index, outer.index) for inner, outer in possible_faces(steps, polar.radius)]
    if sight is not None and (span := face_span(sight, polar.xy)) is not None:
        spans.insert(0, span)
    for inner_index, outer_index in spans:
        for index, towards_face in ((inner_index, 1), (outer_index, -1)):
            if (index, towards_face) not in fitted:
                others = [rim for (_, side), rim in fitted.items() if side == towards_face]
                fitted[index, towards_face] = _known_rim(fit_rim(polar, index, towards_face), others)
        inner, outer = fitted[inner_index, 1], fitted[outer_index, -1]
        if inner is None or outer is None or not belong_together(outer, inner):
            continue
        if (id(inner), id(outer)) in tried:
            continue
        tried.add((id(inner), id(outer)))
        # Full rings further out belong to something round this one: a bearing laid inside a plate.
        around = sum(s.coverage > 0.8 and polar.radius[s.index] > 1.18 * outer.radius for s in steps)
        seen = seen_between(sight, outer, inner)
        if most_worth(outer, inner, seen) - 0.3 * around <= best_worth:
            continue  # whatever its teeth are; rays, by which they are read, cost most
        plate = plate_between(smooth, outer, inner, seen)
        worth = plate.worth - 0.3 * around
        if worth > best_worth:
            best, best_worth = plate, worth
        if not around and plate.is_plain:
            break
    return best


def _known_rim(rim: Rim | None, others: list[Rim | None]) -> Rim | None:
    """A rim, or one of the others that is the same: from two rings side by side it is fitted twice."""
    if rim is None:
        return None
    own = np.array(astuple(rim.ellipse)[:4])
    for other in others:
        if other is not None and np.abs(own - astuple(other.ellipse)[:4]).max() < SAME_RIM:
            return other
    return rim


def find_parts(
    photo: Photo, said: Corrections = NOTHING_SAID, sight: Sight | None = None
) -> tuple[Part, ...]:
    """Every plate and band of a photo, in no particular order.

    Parameters
    ----------
    photo : Photo
    said : Corrections, optional
        What a person put right.
    sight : Sight, optional
        What the network sees in it, where it was asked before.

    Returns
    -------
    tuple of Part
        Empty when nothing in view looks like a clutch plate or band.
    """
    return parts_seen(photo, sight or look(photo.working), said)


def parts_seen(photo: Photo, sight: Sight | None, said: Corrections = NOTHING_SAID) -> tuple[Part, ...]:
    """As `find_parts`, with the help of what the network sees; None finds them without."""
    focal = photo.focal_px / photo.scale if photo.focal_px else None
    plates = find_plates(photo.working, focal, sight, in_view=said.in_view)
    stated: list[Plate] = []
    if said != NOTHING_SAID:
        smooth = smoothed(photo.working)
        plates, stated = put_right(plates, said, smooth, photo.scale)
    shape = photo.working.shape[:2]
    set_bands = [stated_band(edges, shape, photo.scale) for edges in said.bands]
    bands: list[Band] = []
    if not stated and all(plate.chance < DOUBTED for plate in plates):
        # A band is photographed alone; beside plates only clutter is long and narrow.
        bands = find_bands(photo.working, np.zeros(shape, bool), sight)
        if sight is not None:
            bands = [band for band in bands if band_seen(sight, band.spine) > LEAST_BAND]
    no_parts = [tuple((np.array(at) + 0.5) / photo.scale - 0.5) for at in said.no_parts]
    bands = [band for band in bands if not any(lies_on(band, *at) for at in no_parts)]
    if bands:
        plates = []
    middles = [(plate.outer.ellipse.cx, plate.outer.ellipse.cy) for plate in plates]
    plates = [p for p, at in zip(plates, middles, strict=True) if not any(lies_on(b, *at) for b in set_bands)]
    bands = [b for b in bands if not any(lies_on(b, *at) for s in set_bands for at in s.spine)]
    settled = settle([*plates, *stated], shape, sight)
    standing: list[EdgeOn] = []
    if sight is not None and settled:  # alone it is no part, but what is said of the photo
        seen_on_edge = plates_on_edge(sight, _taken(settled, shape))
        standing = [p for p in seen_on_edge if not any(p.outline.radius_of(*at) < 1 for at in no_parts)]
    return (
        *(plate_part(v, photo, stated=n >= len(plates)) for n, v in enumerate(settled)),
        *(band_part(band, photo, stated=False) for band in bands),
        *(band_part(band, photo, stated=True) for band in set_bands),
        *(edge_on_part(plate, photo) for plate in standing),
    )


def _taken(settled: list[Visible], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """What of the working copy lies on plates."""
    taken = np.zeros(shape[:2], bool)
    for visible in settled:
        (x, y), (h, w) = visible.masks.origin, visible.masks.part.shape
        taken[y : y + h, x : x + w] |= visible.masks.part
    return taken
