"""What is true about a painted face, read from its maps by the contract's own definitions.

Colour is averaged in Lab over the contract's disc; differences are CIEDE2000 by colour-science. Grooves,
ink and dirt are outside every colour measure. Results are plain JSON values; what the contract makes null
is None.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.scenes.colours import delta_e00, linear_srgb_to_lab
from tests.scenes.grid import Grid
from tests.scenes.linings import TOO_DARK_L, char_limit
from tests.scenes.wear import FAMILIES

STRIDE = 3  # averaged colour is read at every third pixel: the disc is far wider
MIN_PIXELS = 50  # contract: a step with fewer is null
LINING_ROWS = ("area_over_5", "area_over_10", "area_over_20", "area_char")
AREA_MARGIN, GLAZING_MARGIN, SPOT_MARGIN = 0.05, 5.0, 1


def read_lining(
    grid: Grid,
    albedo: NDArray[np.float32],
    measured: NDArray[np.bool_],
    clean_lab: tuple[float, float, float],
    glazing: float,
) -> dict[str, Any]:
    """Discoloration, level and margin of a lining.

    Parameters
    ----------
    albedo
        (H, W, 3) linear sRGB.
    measured
        Face without grooves, ink and dirt.
    clean_lab
        Clean colour of this lining.
    glazing
        Index 0..100 by the contract's formula.
    """
    lab, seen = averaged_lab(grid, albedo, measured)
    clean = np.array(clean_lab)
    difference, delta_l = delta_e00(lab, clean), lab[:, 0] - clean[0]
    areas: dict[str, float | None] = {
        f"area_over_{limit}": float((difference > limit).mean()) for limit in (5, 10, 20)
    }
    dark = clean[0] < TOO_DARK_L
    charred = (lab[:, 0] <= clean[0] / 2) & (difference > char_limit(float(clean[0])))
    areas["area_char"] = None if dark else float(charred.mean())
    radial = _medians(delta_l, grid.across[::STRIDE, ::STRIDE][seen], 12)
    angular = _medians(delta_l, grid.along[::STRIDE, ::STRIDE][seen], 36)
    inner, outer = (
        (grid.across[::STRIDE, ::STRIDE][seen] < 1 / 3),
        (grid.across[::STRIDE, ::STRIDE][seen] > 2 / 3),
    )
    known = [value for value in angular if value is not None]
    return {
        "clean_lab": [round(float(v), 3) for v in clean],
        "delta_e00_median": float(np.median(difference)),
        "delta_e00_p90": float(np.percentile(difference, 90)),
        "delta_l_median": float(np.median(delta_l)),
        **areas,
        "radial_delta_l": radial,
        "angular_delta_l": angular,
        "gradient": {
            "radial": float(np.median(delta_l[outer]) - np.median(delta_l[inner])),
            "angular": max(known) - min(known),
        },
        "glazing": glazing,
        "heat_tint": None,
        "level": None if dark else lining_level(areas, glazing),
        "glazed": glazing >= 60 and (dark or colour_level(areas) <= 2),
        "margin_ok": True if dark else lining_margin(areas, glazing),
    }


def averaged_lab(
    grid: Grid, albedo: NDArray[np.float32], measured: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Lab (n, 3) of the measured pixels on the stride grid, averaged over the disc, and their mask."""
    lab = np.zeros((*grid.shape, 3), np.float32)
    lab[measured] = linear_srgb_to_lab(albedo[measured])
    kernel = disc(grid.disc_mm / grid.mm_per_px)
    weight = cv2.filter2D(measured.astype(np.float32), -1, kernel, borderType=cv2.BORDER_CONSTANT)
    total = cv2.filter2D(lab, -1, kernel, borderType=cv2.BORDER_CONSTANT)
    seen = measured[::STRIDE, ::STRIDE]
    mean = total[::STRIDE, ::STRIDE][seen] / weight[::STRIDE, ::STRIDE][seen][:, None]
    return mean.astype(np.float64), seen


def disc(diameter_px: float) -> NDArray[np.float32]:
    """Averaging kernel; each cell weighs the share of it inside the circle (8 x 8 samples)."""
    radius = max(diameter_px / 2, 0.5)
    cells = 2 * int(np.ceil(radius - 0.5)) + 1
    fine = (np.arange(cells * 8) + 0.5) / 8 - cells / 2
    inside = (fine[:, None] ** 2 + fine[None, :] ** 2) <= radius**2
    kernel = inside.reshape(cells, 8, cells, 8).mean(axis=(1, 3))
    return (kernel / kernel.sum()).astype(np.float32)


def _medians(values: NDArray[np.float64], position: NDArray[np.float32], steps: int) -> list[float | None]:
    step = np.minimum((np.clip(position, 0, 1) * steps).astype(int), steps - 1)
    return [
        float(np.median(values[step == i])) if np.count_nonzero(step == i) >= MIN_PIXELS else None
        for i in range(steps)
    ]


def colour_level(areas: dict[str, float | None]) -> int:
    """Level by colour alone: the highest row whose area reaches a quarter."""
    held = [i + 1 for i, row in enumerate(LINING_ROWS) if (areas[row] or 0.0) >= 0.25]
    return max(held, default=0)


def lining_level(areas: dict[str, float | None], glazing: float) -> int:
    """Contract's lining grade: a glazing index of 60 or more raises levels 0 to 2 by one."""
    level = colour_level(areas)
    return level + 1 if glazing >= 60 and level <= 2 else level


def lining_margin(areas: dict[str, float | None], glazing: float) -> bool:
    """True when no shift of any reading within the margins changes the level."""
    levels = {
        lining_level({k: None if v is None else v + shift for k, v in areas.items()}, glazing + gloss)
        for shift in (-AREA_MARGIN, 0.0, AREA_MARGIN)
        for gloss in (-GLAZING_MARGIN, 0.0, GLAZING_MARGIN)
    }
    return len(levels) == 1


def read_steel(
    grid: Grid,
    family: NDArray[np.int8],
    other: NDArray[np.bool_],
    seen: NDArray[np.bool_] | None = None,
) -> dict[str, Any]:
    """Heat tint areas, hot spots, level and margin of a steel or reaction plate.

    ``family`` indexes FAMILIES per pixel; ``other`` marks rust, varnish and transferred lining; ``seen``
    what of the face is in view, None for all of it.
    """
    face = grid.face if seen is None else grid.face & seen
    n = int(face.sum())
    area = {name: int((face & ~other & (family == i)).sum()) / n for i, name in enumerate(FAMILIES)}
    area["other"] = int((face & other).sum()) / n
    spots = hot_spots(grid, family, face)
    return {
        "clean_lab": None,
        "delta_e00_median": None,
        "delta_e00_p90": None,
        "delta_l_median": None,
        **dict.fromkeys(LINING_ROWS),
        "radial_delta_l": None,
        "angular_delta_l": None,
        "gradient": None,
        "glazing": None,
        "heat_tint": {"area": area, "hot_spots": spots},
        "level": steel_level(area, spots["count"], spots["area"]),
        "glazed": False,
        "margin_ok": steel_margin(area, spots["count"], spots["area"]),
    }


def hot_spots(grid: Grid, family: NDArray[np.int8], face: NDArray[np.bool_] | None = None) -> dict[str, Any]:
    """Count, share of the face and angles of patches of straw or later, with barer metal all round.

    Patches are looked for at every family from straw up, the palest first; one inside a counted patch is
    part of it. Across means both the longest side of the upright box and the diameter of the disc of
    equal area. A patch that touches an edge of the face has no barer metal all round. ``face`` is what of
    it is in view, by default all.
    """
    face = grid.face if face is None else face
    rim = face & ~ndimage.binary_erosion(face, iterations=2)
    smallest, largest = 2.0, 25.0
    counted = np.zeros(grid.shape, bool)
    angles: list[float] = []
    for first in range(1, len(FAMILIES)):
        labels, n = ndimage.label(face & (family >= first))
        if n == 0:
            break
        sizes = np.bincount(labels.ravel(), minlength=n + 1)
        at_rim = np.zeros(n + 1, bool)
        at_rim[labels[rim]] = True
        for i, box in enumerate(ndimage.find_objects(labels), start=1):
            if at_rim[i]:
                continue
            across = max(s.stop - s.start for s in box) * grid.mm_per_px
            equal = 2 * np.sqrt(sizes[i] / np.pi) * grid.mm_per_px
            patch = labels[box] == i
            if equal < smallest or across > largest or counted[box][patch].any():
                continue
            counted[box] |= patch
            row, column = ndimage.center_of_mass(patch)
            y = grid.y[round(row + box[0].start), 0]
            x = grid.x[0, round(column + box[1].start)]
            angles.append(float(np.degrees(np.arctan2(y, x)) % 360))
    return {
        "count": len(angles),
        "area": int(counted.sum()) / int(face.sum()),
        "angles_deg": sorted(round(angle, 1) for angle in angles),
    }


def steel_level(area: dict[str, float], spots: int, spot_area: float) -> int:
    """Contract's steel grade: the highest row that holds."""
    if area["grey"] >= 0.10 or spot_area >= 0.25:
        return 4
    if area["blue"] >= 0.10 or spots >= 3:
        return 3
    if area["brown"] + area["purple"] >= 0.10:
        return 2
    return 1 if area["straw"] >= 0.10 else 0


def steel_margin(area: dict[str, float], spots: int, spot_area: float) -> bool:
    """True when no shift of any reading within the margins changes the level."""

    def shifted(by: float, more: int) -> int:
        moved = {"brown": area["brown"] + area["purple"] + by, "purple": 0.0}
        moved |= {name: area[name] + by for name in ("straw", "blue", "grey")}
        return steel_level(moved, spots + more, spot_area + by)

    return len({shifted(-AREA_MARGIN, -SPOT_MARGIN), shifted(0, 0), shifted(AREA_MARGIN, SPOT_MARGIN)}) == 1
