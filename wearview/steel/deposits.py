"""Varnish, rust and transferred lining told from oxide by their edges.

An oxide film grows on the metal itself: its colour goes from bare to straw and on over many millimetres,
through the tints in their order. What lies on the metal ends where it ends. Varnish is a thin film with
edges, rust is grains, transferred lining streaks along the sliding direction: all of them are deeper in
colour or darker inside a sharp edge than outside. Hue alone tells none of them from straw or brown.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.steel.bare import Bare
from wearview.steel.codes import BARE, BLUE, BROWN, DULL, GREEN, PALE, PURPLE, RUST, STRAW, Codes
from wearview.steel.patches import Labels, components
from wearview.surface import Face

Mask = NDArray[np.bool_]
Plane = NDArray[np.float32]

# All on a grid 400 pixels across a plate, its colour averaged over 2.7 of them.
# An edge: a slope of a*, b* of so much a pixel at least, in which this share of all the change near it comes.
_STEP, _SHARP = 1.0, 0.12
_SHARPNESS = ((0.8, 0.10), (1.0, 0.14), (1.0, 0.18))  # three more such pairs, from soft to hard
_NEAR, _WINDOW = 17, 9  # pixels that "near" means, and across which two sides of an edge are compared
_LEAST_CHANGE = 3.0  # Delta E that always counts as change near an edge
_LEAST_PATCH = 4  # pixels; smaller ones are part of the edge
# Weights of the log odds that a patch is a deposit: a bias, and of each feature. Fitted by `python -m
# tests.training.deposits` on tuned rendered steels, no real ones.
BIAS = -3.06
WEIGHTS = {
    "soft": 4.44,
    "edged": 0.613,
    "hard": -0.326,
    "slope": 0.471,
    "sharp": -15.5,
    "upper": -0.486,
    "depth": 0.875,
    "dark": 0.955,
    "hue": -0.416,
    "uneven": 0.204,
    "late": -3.46,
    "log_area": -0.0656,
    "outline": -0.307,
}
NAMES = tuple(WEIGHTS)
# Chance of a deposit from which a patch is taken for one; and between which nobody can tell.
_LIKELY, _OPEN = 0.5, (0.25, 0.75)
_EDGED = 0.3  # share of its border that is an edge, under which a patch is oxide
_LATE = 0.03  # share of purple and blue in what a patch hangs together with, from which it is oxide
# Transferred lining: lost share of the bare L*; in per cent, how much darker than beside it, and its edge.
_DARK, _DARKER, _DARK_STEP, _DARK_SHARP = 0.30, 16.0, 3.0, 0.16


@dataclass(frozen=True, slots=True, eq=False)
class Patches:
    """Coloured patches of a face between its edges.

    Attributes
    ----------
    labels : ndarray, shape (H, W)
        From 1; 0 for none.
    features : ndarray, shape (n, 13)
        Of each: the shares of its border that are soft, firm and hard edges with the patch on the deeper
        side; steepest slope and sharpness of edge along it, share of the border on the deeper side; colour
        and darkness against bare metal, hue, unevenness of the colour; purple and blue in the colours that
        it hangs together with, log of its share of the face, length of its border against its size.
    coloured : ndarray of bool, shape (H, W)
        The patches and the edges between them.
    upper : ndarray of bool, shape (H, W)
        The deeper side of any change.
    """

    labels: Labels
    features: NDArray[np.float64]
    coloured: Mask
    upper: Mask


def mark_deposits(codes: Codes, face: Face, seen: Mask, bare: Bare) -> tuple[Mask, Mask]:
    """Where something lies on the metal, and where that is open.

    Parameters
    ----------
    codes : ndarray, shape (H, W)
        Families by colour alone; coloured fringes of a deposit beside bare metal are made bare.
    face : Face
    seen : ndarray of bool, shape (H, W)
    bare : Bare

    Returns
    -------
    deposit, open_ : ndarray of bool, shape (H, W)
        Open is where it may be either.
    """
    streaks = _streaks(codes, face, seen, bare)
    patches = find_patches(codes, face, seen, bare)
    if not len(patches.features):
        return streaks, np.zeros_like(seen)
    # A sixth of a second to load, which photos of bare steel and of linings save.
    from scipy.ndimage import distance_transform_edt
    from scipy.special import expit

    by_edges = expit(BIAS + patches.features @ np.array(list(WEIGHTS.values())))
    # Heat must not pass for dirt: what goes on into purple or blue is oxide, and so is what has no edges.
    late, soft = (patches.features[:, NAMES.index(name)] for name in ("late", "soft"))
    own = np.append(0.0, np.where((late < _LATE) & (soft >= _EDGED), by_edges, 0.0))[patches.labels]
    # An edge belongs to the patch that it is nearest to, on its deeper side.
    edge = patches.coloured & (patches.labels == 0)
    row, column = distance_transform_edt(patches.labels == 0, return_distances=False, return_indices=True)
    nearest = own[row, column]
    deposit = (own >= _LIKELY) | (edge & patches.upper & (nearest >= _LIKELY))
    fringe = edge & ~patches.upper & (nearest >= _LIKELY) & _beside(codes == BARE, _WINDOW)
    codes[fringe] = BARE
    return deposit | streaks, (own >= _OPEN[0]) & (own < _OPEN[1]) & ~streaks


def find_patches(codes: Codes, face: Face, seen: Mask, bare: Bare) -> Patches:
    """The coloured patches of a face, and what tells a deposit from oxide."""
    a, b, dark = _off_bare(face, seen, bare)
    depth = np.hypot(a, b)
    slope = np.where(_beside_all(seen, 3), np.hypot(_slope(a), _slope(b)), np.float32(0))
    low, high = _range(depth, seen, _NEAR)
    sharp = slope / np.maximum(high - low, np.float32(_LEAST_CHANGE))
    low, high = _range(depth, seen, _WINDOW)
    upper = depth > (low + high) / 2
    coloured = seen & np.isin(codes, (STRAW, BROWN, RUST, DULL, GREEN))
    count, labels, stats = components(coloured & ~((slope > _STEP) & (sharp > _SHARP)))
    area = stats[:, cv2.CC_STAT_AREA].astype(float)
    labels[(area < _LEAST_PATCH)[labels]] = 0
    kept = np.flatnonzero((area >= _LEAST_PATCH) & (np.arange(count + 1) > 0))
    on_face = _beside_all(seen, 5)
    rim = on_face & (labels > 0) & _beside((labels == 0) & on_face, 3)
    length = np.maximum(np.bincount(labels[rim], minlength=count + 1), 1)

    def along(values: NDArray[np.generic]) -> NDArray[np.float64]:
        weights = np.asarray(values[rim], float)
        return np.asarray(np.bincount(labels[rim], weights, count + 1) / length)

    def inside(values: Plane) -> NDArray[np.float64]:
        total = np.bincount(labels.ravel(), np.where(labels > 0, values, 0).ravel().astype(float), count + 1)
        return np.asarray(total / np.maximum(area, 1))

    edges = [_beside((slope > step) & (sharp > share), 3) & upper for step, share in _SHARPNESS]
    steepest = cv2.dilate(slope, np.ones((5, 5), np.uint8))
    sharpest = cv2.dilate(np.where(slope > 0.6, sharp, np.float32(0)), np.ones((5, 5), np.uint8))
    usual = inside(depth)
    hue = np.degrees(np.arctan2(inside(b), inside(a)))
    columns = (
        *(along(edge) for edge in edges),
        along(steepest),
        along(sharpest),
        along(upper),
        usual / 10,
        inside(dark) / 10,
        hue / 30,
        np.sqrt(np.maximum(inside(depth**2) - usual**2, 0)),
        _late_share(codes, seen, labels, count),
        np.log(np.maximum(area, 1) / max(1, int(seen.sum()))),
        length / np.sqrt(np.maximum(area, 1)) / 5,
    )
    renumbered = np.zeros(count + 1, np.int32)
    renumbered[kept] = np.arange(1, len(kept) + 1)
    return Patches(renumbered[labels], np.stack(columns, axis=-1)[kept], coloured, upper)


def _late_share(codes: Codes, seen: Mask, labels: Labels, count: int) -> NDArray[np.float64]:
    """Share of purple and blue in what each patch hangs together with."""
    n, whole, stats = components(seen & (codes != BARE))
    late = seen & np.isin(codes, (PURPLE, BLUE, PALE))
    share = np.bincount(whole[late], minlength=n + 1) / np.maximum(stats[:, cv2.CC_STAT_AREA], 1)
    out = np.zeros(count + 1)
    out[labels[labels > 0]] = share[whole[labels > 0]]
    return out


def _streaks(codes: Codes, face: Face, seen: Mask, bare: Bare) -> Mask:
    """Dark and all but colourless, with edges: transferred lining, soot; oxide grey lies beside blue."""
    dark = _off_bare(face, seen, bare)[2]
    low, high = _range(dark, seen, _NEAR)
    slope = np.where(_beside_all(seen, 3), _slope(dark), np.float32(0))
    edge = (slope > _DARK_STEP) & (slope > _DARK_SHARP * (high - low))
    lightest, darkest = _range(dark, seen, _WINDOW)
    late = _beside(seen & np.isin(codes, (PURPLE, BLUE, PALE)), _NEAR)
    neutral = seen & (codes == BARE) & ~late & (dark > 100 * _DARK)
    streak = neutral & (dark - lightest > _DARKER) & (dark > (lightest + darkest) / 2)
    count, labels, stats = components(neutral & (streak | (dark > 100 * _DARK + _DARKER)))
    sharp = np.bincount(labels[_beside(edge, 3)], minlength=count + 1) / np.maximum(
        stats[:, cv2.CC_STAT_AREA], 1
    )
    sharp[0] = 0
    return np.asarray(streak | (sharp > 0.3)[labels])


def _off_bare(face: Face, seen: Mask, bare: Bare) -> tuple[Plane, Plane, Plane]:
    """a*, b* against bare metal and the lost per cent of its L*; 0 where nothing is seen."""
    planes = [np.where(seen, face.lab[..., k], 0).astype(np.float32) for k in range(3)]
    lightness, a, b = planes
    scale = np.where(seen, (lightness + 16) / (bare.lab[0] + 16), 0).astype(np.float32)
    dark = np.where(seen, 100 * (1 - lightness / np.float32(bare.lab[0])), 0).astype(np.float32)
    a -= np.float32(bare.lab[1]) * scale
    b -= np.float32(bare.lab[2]) * scale
    return a, b, dark


def _slope(values: Plane) -> Plane:
    across, down = (cv2.Scharr(values, cv2.CV_32F, *order) / 32 for order in ((1, 0), (0, 1)))
    return np.asarray(np.hypot(across, down), np.float32)


def _range(values: Plane, seen: Mask, window: int) -> tuple[Plane, Plane]:
    """Least and greatest value within a square window."""
    kernel, far = np.ones((window, window), np.uint8), np.float32(1e3)
    low = cv2.erode(np.where(seen, values, far), kernel)
    return np.asarray(low), np.asarray(cv2.dilate(np.where(seen, values, -far), kernel))


def _beside(mask: Mask, window: int) -> Mask:
    return cv2.dilate(mask.astype(np.uint8), np.ones((window, window), np.uint8)) > 0


def _beside_all(mask: Mask, window: int) -> Mask:
    return cv2.erode(mask.astype(np.uint8), np.ones((window, window), np.uint8), borderValue=0) > 0
