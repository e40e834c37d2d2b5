"""Hot spots: round heat marks with barer metal all round."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.reading import Reading
from wearview.settings import Rules
from wearview.steel.codes import BLUE, BROWN, GREY, OFF_FACE, OTHER, PURPLE, STRAW, UNSEEN, Codes
from wearview.steel.families import NOT_MEASURED, THIN
from wearview.steel.patches import REACH, Labels, components, find_borders, near
from wearview.surface import Face

_METHOD = "patches"
# A hot spot's border may lie off the face, or be unmeasured, for this share at most.
_OFF_FACE_SHARE, _UNSEEN_SHARE = 0.05, 0.5
_DEPOSIT_SHARE = 0.2  # and beside a deposit for this share: else it is the deposit's own edge
# It stands out from the ring round it, this many pixels wide, by this much in a*, b* at least: as much
# as straw from bare metal. Mottle that flickers across a family's boundary does not.
_RING, _CONTRAST = 5, 5.0


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
    area.
    """
    if math.isfinite(face.mm_per_px):
        smallest, largest = (mm / face.mm_per_px for mm in rules.spot_mm)
    else:
        smallest, largest = (share * face.diameter for share in rules.spot_share)
    measured = families != NOT_MEASURED
    stages = np.where(measured & (families != OTHER), families, 0)
    codes = np.where(measured, families, UNSEEN).astype(np.uint8)
    codes[~measured & near(~face.whole, THIN * face.diameter)] = OFF_FACE
    counted = np.zeros(families.shape, dtype=bool)
    angles: list[float] = []
    for stage in (STRAW, BROWN, PURPLE, BLUE, GREY):
        count, labels, stats = components(stages >= stage)
        long_side = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1)
        equal = 2 * np.sqrt(stats[:, cv2.CC_STAT_AREA] / math.pi)
        fits = np.flatnonzero((equal >= smallest) & (long_side <= largest))
        fits = fits[fits > 0]
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
            left, top, width, height = (int(v) for v in stats[i, :4])
            box = np.s_[top : top + height, left : left + width]
            patch = labels[box] == i
            if counted[box][patch].any():
                continue
            # Written so that a patch without any ring to compare with does not count.
            if not _contrast(face.lab, measured, labels, int(i), (left, top, width, height)) >= _CONTRAST:
                continue
            counted[box] |= patch
            angles.append(_mean_angle(face.angle_deg[box][patch]))
    n = int(np.count_nonzero(measured))
    area = Reading(float(np.count_nonzero(counted) / n), "fraction", _METHOD, n)
    return counted, HotSpots(Reading(float(len(angles)), "count", _METHOD, n), area, tuple(sorted(angles)))


def _contrast(
    lab: NDArray[np.float32],
    measured: NDArray[np.bool_],
    labels: Labels,
    i: int,
    box: tuple[int, int, int, int],
) -> float:
    """Difference in a*, b* between the strongest tenth of a patch and the middle of the ring round it.

    Not in L*: a speck of dirt in a breath of straw is no hot spot.
    """
    left, top, width, height = box
    margin = _RING + REACH
    window = np.s_[
        max(0, top - margin) : top + height + margin, max(0, left - margin) : left + width + margin
    ]
    patch = labels[window] == i
    near, far = (
        cv2.dilate(
            patch.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1))
        )
        for r in (REACH, margin)
    )
    colours, seen = lab[window][..., 1:], measured[window]
    ring = seen & (far > 0) & (near == 0)
    if not ring.any():
        return math.nan
    off = colours[patch & seen] - np.median(colours[ring], axis=0)
    return float(np.quantile(np.linalg.norm(off, axis=1), 0.9))


def _mean_angle(angles_deg: NDArray[np.float32]) -> float:
    t = np.radians(angles_deg.astype(np.float64))
    return round(math.degrees(math.atan2(np.sin(t).mean(), np.cos(t).mean())), 1) % 360
