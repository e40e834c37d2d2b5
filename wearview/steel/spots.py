"""Hot spots: round heat marks with barer metal all round."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.reading import Reading
from wearview.settings import Rules
from wearview.steel.codes import BLUE, BROWN, GREY, OFF_FACE, OTHER, PURPLE, STRAW, UNSEEN, Codes
from wearview.steel.families import NOT_MEASURED, THIN
from wearview.steel.patches import REACH, Labels, components, find_borders, near
from wearview.steel.spacing import evenly_spaced
from wearview.surface import Face

_METHOD = "patches"
# A hot spot's border may lie off the face, or be unmeasured, for this share at most.
_OFF_FACE_SHARE, _UNSEEN_SHARE = 0.05, 0.5
_DEPOSIT_SHARE = 0.2  # and beside a deposit for this share: else it is the deposit's own edge
# It stands out from the ring round it, this many pixels wide, by this much in a*, b* at least: as much
# as straw from bare metal. Mottle that flickers across a family's boundary does not.
_RING, _CONTRAST = 5, 5.0
# A dark mark is darker than that ring by this much L*, and no longer than so many times its width.
_DARKER, _LONG = 4.0, 2.5

Box = tuple[slice, slice]


@dataclass(frozen=True, slots=True)
class HotSpots:
    """Round heat marks: how many, their share of the face (0..1), and where they lie."""

    count: Reading
    area: Reading
    angles_deg: tuple[float, ...]


def find_hot_spots(face: Face, families: Codes, rules: Rules) -> tuple[NDArray[np.bool_], HotSpots]:
    """Patches of straw or later with barer metal all round: their mask, and what they measure.

    Looked for at every family from straw up, the palest first; a later patch inside a counted one is
    part of it. Across is both the longer side of the upright box and the diameter of the disc of equal
    area. Small ones blur into dark marks whose colour says as little as dirt's: these count where they lie at
    equal steps round the plate, together with the others.
    """
    measured = families != NOT_MEASURED
    codes = np.where(measured, families, UNSEEN).astype(np.uint8)
    codes[~measured & near(~face.whole, THIN * face.diameter)] = OFF_FACE
    counted, angles = _tinted(face, families, codes, rules)
    dark = list(_dark_marks(face, families, codes, rules))
    of_dark = [_mean_angle(face.angle_deg[box][patch]) for box, patch in dark]
    for k in evenly_spaced([*of_dark, *angles]):
        if k < len(dark):
            box, patch = dark[k]
            counted[box] |= patch
            angles.append(of_dark[k])
    n = int(np.count_nonzero(measured))
    area = Reading(float(np.count_nonzero(counted) / n), "fraction", _METHOD, n)
    return counted, HotSpots(Reading(float(len(angles)), "count", _METHOD, n), area, tuple(sorted(angles)))


def _tinted(face: Face, families: Codes, codes: Codes, rules: Rules) -> tuple[NDArray[np.bool_], list[float]]:
    """Patches of straw or later: their mask, and the angle of each."""
    counted, angles = np.zeros(families.shape, dtype=bool), []
    measured = families != NOT_MEASURED
    stages = np.where(measured & (families != OTHER), families, 0)
    for stage in (STRAW, BROWN, PURPLE, BLUE, GREY):
        count, labels, stats = components(stages >= stage)
        fits = _of_a_spots_size(stats, face, rules)
        if not fits.size:
            continue
        borders = find_borders(labels, count, codes)
        lengths = np.maximum(borders.sum(axis=1), 1)
        alone = (
            (borders[:, OFF_FACE] <= _OFF_FACE_SHARE * lengths)
            & (borders[:, UNSEEN] <= _UNSEEN_SHARE * lengths)
            & (borders[:, OTHER] <= _DEPOSIT_SHARE * lengths)
        )
        for i in fits[alone[fits]]:
            box, patch = _patch(labels, stats, int(i))
            if counted[box][patch].any():
                continue
            # Not in L*: a speck of dirt in a breath of straw is no hot spot.
            off = _off_ring(face.lab, measured, labels, int(i), box)[:, 1:]
            if len(off) and np.quantile(np.linalg.norm(off, axis=1), 0.9) >= _CONTRAST:
                counted[box] |= patch
                angles.append(_mean_angle(face.angle_deg[box][patch]))
    return counted, angles


def _dark_marks(
    face: Face, families: Codes, codes: Codes, rules: Rules
) -> Iterator[tuple[Box, NDArray[np.bool_]]]:
    """Patches of what is no tint, as large and as round as a hot spot and darker than what is round them."""
    other = families == OTHER
    count, labels, stats = components(other)
    fits = _of_a_spots_size(stats, face, rules)
    if not fits.size:
        return
    borders = find_borders(labels, count, codes)
    at_edge = borders[:, OFF_FACE] > _OFF_FACE_SHARE * np.maximum(borders.sum(axis=1), 1)
    sides = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]]
    long = sides.max(axis=1) > _LONG * sides.min(axis=1)
    compared = (families != NOT_MEASURED) & ~other
    for i in fits[~(at_edge | long)[fits]]:
        box, patch = _patch(labels, stats, int(i))
        darker = -_off_ring(face.lab, compared, labels, int(i), box)[:, 0]
        if len(darker) and np.quantile(darker, 0.75) >= _DARKER:
            yield box, patch


def _of_a_spots_size(stats: NDArray[np.int32], face: Face, rules: Rules) -> NDArray[np.intp]:
    """Numbers of the patches that a hot spot may be as large as."""
    if math.isfinite(face.mm_per_px):
        smallest, largest = (mm / face.mm_per_px for mm in rules.spot_mm)
    else:
        smallest, largest = (share * face.diameter for share in rules.spot_share)
    long_side = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1)
    equal = 2 * np.sqrt(stats[:, cv2.CC_STAT_AREA] / math.pi)
    fits = np.flatnonzero((equal >= smallest) & (long_side <= largest))
    return fits[fits > 0]


def _patch(labels: Labels, stats: NDArray[np.int32], i: int) -> tuple[Box, NDArray[np.bool_]]:
    """The upright box of a patch, and the patch in it."""
    left, top, width, height = (int(v) for v in stats[i, :4])
    box = np.s_[top : top + height, left : left + width]
    return box, labels[box] == i


def _off_ring(
    lab: NDArray[np.float32], compared: NDArray[np.bool_], labels: Labels, i: int, box: Box
) -> NDArray[np.float32]:
    """What a patch's colours, shape (N, 3), differ by from the middle of the ring round it; N is 0 where no
    pixel of the ring may be compared with."""
    margin = _RING + REACH
    rows, columns = (slice(max(0, side.start - margin), side.stop + margin) for side in box)
    window = rows, columns
    patch = labels[window] == i
    near, far = (
        cv2.dilate(
            patch.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1))
        )
        for r in (REACH, margin)
    )
    colours = lab[window]
    ring = compared[window] & (far > 0) & (near == 0)
    if not ring.any():
        return np.empty((0, 3), np.float32)
    return np.asarray(colours[patch] - np.median(colours[ring], axis=0))


def _mean_angle(angles_deg: NDArray[np.float32]) -> float:
    t = np.radians(angles_deg.astype(np.float64))
    return round(math.degrees(math.atan2(np.sin(t).mean(), np.cos(t).mean())), 1) % 360
