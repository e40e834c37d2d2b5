"""Varnish, rust and transferred lining told from oxide by what their neighbourhood looks like.

An oxide film grows on the metal itself: its colour goes from bare to straw and on over many millimetres,
through the tints in their order. What lies on the metal ends where it ends. Varnish is a thin film with
edges, rust is grains, transferred lining streaks along the sliding direction. Hue alone tells none of them
from straw or brown. So each place is set beside what lies round it, near and far, and a few weights
(`models/deposits-1.toml`, made by `tests.training.deposits`) say how likely something lies on the metal.
"""

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.network import log_odds, read_layers
from wearview.settings import models_folder
from wearview.steel.bare import Bare
from wearview.steel.codes import BARE, BLUE, BROWN, DULL, GREEN, PALE, PURPLE, RUST, STRAW, Codes
from wearview.steel.patches import components
from wearview.surface import Face

Mask = NDArray[np.bool_]
Plane = NDArray[np.float32]
Mean = Callable[[Plane, int], Plane]

FILE = "deposits-1.toml"
# Widths of what counts as round a place, on a grid 400 pixels across a plate, its colour averaged over 2.7.
_FINE, _NEAR, _FAR = 7, 17, 51
_RANGES = (9, _NEAR, _FAR)
_LEAST_CHANGE = 3.0  # Delta E that always counts as change near an edge
_FLAT = 0.1  # squared slope of lost L* under which a place has no direction
_LEAST_PATCH = 4  # pixels; smaller ones are noise
# Chance of a deposit from which a place is taken for one, and where its colour runs on into purple or blue;
# between which of a patch nobody can tell.
_LIKELY, _SURE, _OPEN = 0.6, 0.8, (0.4, 0.75)
_LATE, _SPOT = 0.03, 1 / 6  # share of purple and blue, and of the diameter: a hot spot at most
_EARLY, _AFTER = (STRAW, BROWN, RUST, DULL, GREEN), (PURPLE, BLUE, PALE)
_COLOURS = (*_EARLY, *_AFTER)
_LATER = tuple(code for code in _COLOURS if code != STRAW)
_SOFT = 0.12  # slope per pixel over all change near it, under which colour has no edge
_SHARP_ROW = -5  # of the readings: that slope
_FRINGE = 7  # width up to which colour beside a deposit is its blurred edge


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

    Raises
    ------
    ModelsError
        The weights are missing or damaged.
    """
    readings = deposit_readings(codes, face, seen, bare)
    odds = log_odds(read_layers(models_folder() / FILE), readings)
    chance, sharp = np.zeros(seen.shape, np.float32), np.zeros(seen.shape, np.float32)
    sharp[seen] = readings[_SHARP_ROW]
    chance[seen] = 1 / (1 + np.exp(-np.clip(odds, -20, 20)))
    # Heat must not pass for dirt: nothing that lies on metal is purple or blue.
    late = seen & np.isin(codes, _AFTER)
    chance[late] = 0
    body_is_late = _of_patches(seen & (codes != BARE), late.astype(np.float32), (), seen)[0] >= _LATE
    _, labels, stats = components(chance >= np.where(body_is_late, _SURE, _LIKELY))
    deposit = (labels > 0) & (stats[:, cv2.CC_STAT_AREA] >= _LEAST_PATCH)[labels]
    deposit &= ~_is_heat(codes, seen, deposit, late, sharp, face.diameter)
    coloured = seen & (codes != BARE)
    _clear_fringe(codes, coloured & ~deposit & ~late, seen & ~deposit, deposit)
    return deposit, _open_patches(chance, coloured | deposit, deposit)


def _is_heat(codes: Codes, seen: Mask, deposit: Mask, late: Mask, sharp: Plane, diameter: float) -> Mask:
    """Patches that are oxide whatever they look like by themselves.

    As small as a hot spot and with purple or blue in it; or without edges.
    """
    spots = np.zeros(seen.shape, bool)
    for around in (_COLOURS, _LATER):  # on bare metal, and on a face that is straw all round
        count, labels, stats = components(deposit | np.isin(codes, around))
        share = np.bincount(labels[late], minlength=count + 1) / np.maximum(stats[:, cv2.CC_STAT_AREA], 1)
        size = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1)
        spot = (share >= _LATE) & (size <= _SPOT * diameter)
        spot[0] = False
        spots |= spot[labels]
    count, patches, _ = components(deposit)
    rim = deposit & _beside_all(seen, 5) & _beside(seen & ~deposit, 3)
    length = np.maximum(np.bincount(patches[rim], minlength=count + 1), 1)
    edges = np.bincount(patches[rim], sharp[rim], count + 1) / length
    soft = edges < _SOFT
    soft[0] = False
    return np.asarray(spots | soft[patches])


def _clear_fringe(codes: Codes, coloured: Mask, clear: Mask, deposit: Mask) -> None:
    """Give the blurred edge of a deposit, and slivers between two, the family of the metal next to it."""
    wide = cv2.morphologyEx(coloured.astype(np.uint8), cv2.MORPH_OPEN, np.ones((_FRINGE, _FRINGE), np.uint8))
    fringe = coloured & (wide == 0) & _beside(deposit, _FRINGE)
    sure = clear & ~fringe
    if fringe.any() and sure.any():
        _, nearest = cv2.distanceTransformWithLabels(
            (~sure).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
        )
        family = np.empty(int(nearest.max()) + 1, codes.dtype)
        family[nearest[sure]] = codes[sure]
        codes[fringe] = family[nearest[fringe]]


def _open_patches(chance: Plane, marked: Mask, deposit: Mask) -> Mask:
    """Patches, of deposit or of tint, whose mean chance leaves both open."""
    out = np.zeros(marked.shape, bool)
    for kind in (deposit, marked & ~deposit & (chance > _LIKELY / 4)):
        count, labels, stats = components(kind)
        total = np.bincount(labels.ravel(), chance.ravel(), count + 1)
        mean = total / np.maximum(stats[:, cv2.CC_STAT_AREA], 1)
        is_open = (mean >= _OPEN[0]) & (mean < _OPEN[1])
        is_open[0] = False
        out |= is_open[labels]
    return out


def deposit_readings(codes: Codes, face: Face, seen: Mask, bare: Bare) -> NDArray[np.float32]:
    """What is read at each place seen, shape (readings, places).

    Colours are counted from bare metal in Delta E, lost lightness in per cent of its L*.
    """
    weight = seen.astype(np.float32)
    a, b, dark = _off_bare(face, seen, bare)
    depth = np.hypot(a, b)
    share = {width: np.maximum(_box(weight, width), np.float32(1e-3)) for width in (_FINE, _NEAR, _FAR)}

    def mean(plane: Plane, width: int) -> Plane:
        return np.asarray(_box(plane * weight, width) / share[width])

    def spread(plane: Plane, width: int) -> Plane:
        return np.sqrt(np.maximum(mean(plane * plane, width) - mean(plane, width) ** 2, 0))

    inner = cv2.erode(seen.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0).astype(np.float32)
    (ax, ay), (bx, by), (dx, dy) = ((_scharr(p, inner)) for p in (a, b, dark))
    slope = np.sqrt(ax * ax + ay * ay + bx * bx + by * by)
    dark_slope = np.hypot(dx, dy)
    late = (seen & np.isin(codes, _AFTER)).astype(np.float32)
    plain = (seen & (codes == BARE)).astype(np.float32)
    planes = [a, b, dark, depth]
    planes += [p - mean(p, _NEAR) for p in (a, b, dark)] + [p - mean(p, _FAR) for p in (b, dark)]
    planes += [spread(p, _FINE) for p in (b, dark)] + [spread(p, _NEAR) for p in (a, b, dark)]
    for plane in (depth, dark):
        for width in _RANGES:
            low, high = _range(plane, seen, width)
            planes += [plane - low, high - plane]
    steep = [np.asarray(cv2.dilate(p, np.ones((_FINE, _FINE), np.uint8))) for p in (slope, dark_slope)]
    planes += steep
    planes += [mean(p, _NEAR) for p in (slope, dark_slope)]
    planes.append(_along_the_slide(face, dx, dy, mean))
    planes += [mean(p, width) for p in (late, plain) for width in (_NEAR, _FAR)]
    low, high = _range(depth, seen, _NEAR)
    sharp = steep[0] / np.maximum(high - low, np.float32(_LEAST_CHANGE))
    planes.append(sharp)
    planes += _of_patches(seen & (codes != BARE), late, (*steep, sharp), _beside_all(seen, 5))
    at = np.flatnonzero(seen)
    return np.stack([np.take(np.asarray(plane, np.float32), at) for plane in planes])


def _along_the_slide(face: Face, across: Plane, down: Plane, mean: Mean) -> Plane:
    """From -1 to 1: how far lightness changes along the radius near a place, and not round the plate."""
    turn = np.radians(face.angle_deg)
    cos, sin = np.cos(turn), np.sin(turn)
    radial = mean((across * cos + down * sin) ** 2, _NEAR)
    round_ = mean((down * cos - across * sin) ** 2, _NEAR)
    return np.asarray((radial - round_) / (radial + round_ + np.float32(_FLAT)))


def _of_patches(coloured: Mask, late: Plane, edges: Sequence[Plane], inner: Mask) -> list[Plane]:
    """Of what each coloured place hangs together with: share of purple and blue, means of `edges` along its
    border; 0 on bare metal."""
    count, labels, stats = components(coloured)
    rim = coloured & inner & _beside(inner & ~coloured, 3)
    length = np.maximum(np.bincount(labels[rim], minlength=count + 1), 1)
    values = [
        np.bincount(labels.ravel(), late.ravel(), count + 1) / np.maximum(stats[:, cv2.CC_STAT_AREA], 1)
    ]
    values += [np.bincount(labels[rim], edge[rim], count + 1) / length for edge in edges]
    out = []
    for of_patch in values:
        of_patch[0] = 0
        out.append(np.take(of_patch.astype(np.float32), labels))
    return out


def _off_bare(face: Face, seen: Mask, bare: Bare) -> tuple[Plane, Plane, Plane]:
    """a*, b* against bare metal and the lost per cent of its L*; 0 where nothing is seen."""
    planes = [np.where(seen, face.lab[..., k], 0).astype(np.float32) for k in range(3)]
    lightness, a, b = planes
    scale = np.where(seen, (lightness + 16) / (bare.lab[0] + 16), 0).astype(np.float32)
    dark = np.where(seen, 100 * (1 - lightness / np.float32(bare.lab[0])), 0).astype(np.float32)
    a -= np.float32(bare.lab[1]) * scale
    b -= np.float32(bare.lab[2]) * scale
    return a, b, dark


def _scharr(plane: Plane, inner: Plane) -> tuple[Plane, Plane]:
    across, down = (cv2.Scharr(plane, cv2.CV_32F, *order) / 32 * inner for order in ((1, 0), (0, 1)))
    return np.asarray(across), np.asarray(down)


def _box(plane: Plane, width: int) -> Plane:
    return np.asarray(cv2.blur(plane, (width, width)))


def _range(values: Plane, seen: Mask, window: int) -> tuple[Plane, Plane]:
    """Least and greatest value within a square window."""
    kernel, far = np.ones((window, window), np.uint8), np.float32(1e3)
    low = cv2.erode(np.where(seen, values, far), kernel)
    return np.asarray(low), np.asarray(cv2.dilate(np.where(seen, values, -far), kernel))


def _beside(mask: Mask, window: int) -> Mask:
    return cv2.dilate(mask.astype(np.uint8), np.ones((window, window), np.uint8)) > 0


def _beside_all(mask: Mask, window: int) -> Mask:
    return cv2.erode(mask.astype(np.uint8), np.ones((window, window), np.uint8), borderValue=0) > 0
