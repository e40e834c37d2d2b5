"""What a careful user would write in an afternoon with scikit-image, at full resolution: rings told from the
bench by their colour, white taken from the brightest thing in view, each face set beside the clean one.

It shares no code with the package: it is what the package's times and errors are held against.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_cie76, deltaE_ciede2000, rgb2lab
from skimage.filters import gaussian, threshold_multiotsu
from skimage.io import imread
from skimage.measure import label, regionprops
from skimage.morphology import isotropic_closing, isotropic_erosion, isotropic_opening
from skimage.segmentation import clear_border

SMOOTH, TOOTH = 3.0, 1 / 60  # pixels; of the region's width, what an opening takes off
LEAST_AREA, LEAST_HOLE = 0.01, 0.2  # of the photo; of the filled ring
MOST_ECCENTRIC, ROUND = 0.75, 0.85  # of the area of the ellipse in its upright box
RIM = 1 / 50  # of the region's width, left out at both edges of the face
BRIGHTEST, PAPER = 99.5, 0.87  # percentile that is paper; what paper reflects


@dataclass(frozen=True, slots=True)
class Ring:
    """A ring in a photo: its face as a mask of the whole photo, and the face's median Lab."""

    face: NDArray[np.bool_]
    lab: NDArray[np.float64]


def rings(file: Path) -> list[Ring]:
    """Every ring of a photo, the largest first."""
    rgb = imread(file)
    lab = rgb2lab(_white_balanced(rgb))
    smooth = gaussian(lab, SMOOTH, channel_axis=2)
    frame = np.concatenate([smooth[0], smooth[-1], smooth[:, 0], smooth[:, -1]])
    off_bench = deltaE_cie76(smooth, np.median(frame, axis=0))
    found: list[Ring] = []
    for level in (off_bench, smooth[..., 0], np.hypot(smooth[..., 1], smooth[..., 2])):
        for limit in threshold_multiotsu(level[::4, ::4], classes=4):
            for mask in (level > limit, level < limit):
                found.extend(Ring(face, np.median(lab[face], axis=0)) for face in _faces(mask))
    found.sort(key=lambda ring: -ring.face.sum())
    apart: list[Ring] = []
    for ring in found:
        if not any((ring.face & other.face).any() for other in apart):
            apart.append(ring)
    return apart


def _faces(mask: NDArray[np.bool_]) -> Iterator[NDArray[np.bool_]]:
    """Faces, as masks of the whole photo, of the rings among the pieces of a mask."""
    for region in regionprops(label(clear_border(mask))):
        if region.area < LEAST_AREA * mask.size or region.eccentricity > MOST_ECCENTRIC:
            continue
        filled = region.image_filled
        hole = filled.sum() - region.area
        if filled.sum() < ROUND * np.pi / 4 * filled.size or hole < LEAST_HOLE * filled.sum():
            continue
        width = region.image.shape[1]
        solid = isotropic_closing(isotropic_opening(np.pad(region.image, 1), TOOTH * width), SMOOTH)
        face = np.zeros(mask.shape, bool)
        face[region.slice] = isotropic_erosion(solid, RIM * width)[1:-1, 1:-1]
        if face.any():
            yield face


def differences(photo: Path, clean: Path) -> list[tuple[Ring, float]]:
    """Every ring of a photo with the CIEDE2000 of its median colour from the largest ring of a clean
    photo."""
    reference = rings(clean)
    if not reference:
        return []
    return [(ring, float(deltaE_ciede2000(reference[0].lab, ring.lab))) for ring in rings(photo)]


def _white_balanced(rgb: NDArray[np.uint8]) -> NDArray[np.float64]:
    """sRGB with the brightest of the photo taken for white paper, in linear light."""
    linear = (rgb / 255.0) ** 2.2
    level = linear.mean(axis=2)
    white = np.median(linear[level >= np.percentile(level, BRIGHTEST)], axis=0)
    return np.asarray(np.clip(linear / white * PAPER, 0, 1) ** (1 / 2.2))
