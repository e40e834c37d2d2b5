"""What a small network sees in a photo: `models/parts-3.onnx`, made by `tests.training.parts`.

It says which cells show lining, bare steel, teeth, a hole, clutter or a sheet of paper, and where the centre
of their plate lies. It proposes and casts doubt; rims stay ellipses fitted to edges, whatever proposes them.
"""

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.network import sight_of
from wearview.parts.part import Ellipse
from wearview.settings import models_folder

FILE = "parts-3.onnx"
LABELS = (
    "bench",
    "lining",
    "steel",
    "teeth",
    "hole",
    "clutter",
    "sheet",
    "band lining",
    "strap",
    "edge view",
)
BENCH, LINING, STEEL, TEETH, HOLE, CLUTTER, SHEET, BAND_LINING, STRAP, EDGE_VIEW = range(len(LABELS))
SIZE = (384, 288)  # width, height of the picture that it takes
CELL = 2  # pixels of that picture per cell of the answer
OFFSET_UNIT = 64.0  # pixels of that picture

AROUND = np.arange(120) * (2 * np.pi / 120)
# Places across a face, 0 its inner rim and 1 its outer; the strips beside it lie beyond its teeth's roots.
ON_FACE, WITHIN, BEYOND = np.linspace(0.12, 0.88, 6), np.array([-0.5, -0.3]), np.array([1.3, 1.5])

ODDS_FLOOR, MOST_ODDS = 0.02, 2.0  # a network that never saw a real photo is never quite sure
SPARSE = 6  # every so many angles
LEAST_FACE = 0.3  # mean chance round a circle; a plate half covered by others still shows it


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """What the network sees.

    Attributes
    ----------
    chance : ndarray, shape (labels, h, w), float32
        Of each label, summing to 1 in each cell.
    offset : ndarray, shape (2, h, w), float32
        From each cell to the centre of its plate, x and y in cells; means nothing off plates.
    scale : float
        Working-copy pixels per cell.
    """

    chance: NDArray[np.float32]
    offset: NDArray[np.float32]
    scale: float

    def to_photo(self, cells: NDArray[Any]) -> NDArray[np.float64]:
        """Places in cells (..., 2) in pixels of the working copy."""
        return np.asarray((np.asarray(cells, float) + 0.5) * self.scale - 0.5)

    def to_cells(self, xy: NDArray[np.floating]) -> NDArray[np.float64]:
        """Pixels of the working copy (..., 2) in cells."""
        return np.asarray((np.asarray(xy, float) + 0.5) / self.scale - 0.5)


def look(working: NDArray[np.uint8]) -> Sight:
    """Run the network on a working copy.

    Parameters
    ----------
    working : ndarray, shape (H, W, 3), uint8
        sRGB.

    Raises
    ------
    ModelsError
        The network's file is missing or cannot be read.
    """
    answer, scale = sight_of(models_folder() / FILE, working, SIZE, CELL)
    chance, offset = answer[: len(LABELS)], answer[len(LABELS) :] * np.float32(OFFSET_UNIT / CELL)
    if working.shape[0] > working.shape[1]:
        chance = np.rot90(chance, -1, axes=(1, 2))
        across, along = np.rot90(offset, -1, axes=(1, 2))
        offset = np.stack([-along, across])
    return Sight(np.ascontiguousarray(chance), np.ascontiguousarray(offset), scale)


@dataclass(frozen=True, slots=True)
class FaceSeen:
    """What the network sees between two rims.

    Attributes
    ----------
    on, beside : float
        Mean chance, 0..1, of a face between the rims, and in the strips beside them.
    lining : float
        Log odds that the face is lining rather than bare steel, within 2 of 0; 0 where no face is seen.
    """

    on: float
    beside: float
    lining: float = 0.0


def face_seen(sight: Sight, outer: Ellipse, inner: Ellipse) -> FaceSeen:
    """What the network sees of a face between two rims, in pixels of the working copy.

    Beside it are strips half as wide as the face, within the inner rim and beyond the outer one; the stronger
    counts. Off the photo nothing is seen.
    """
    lining = sight.chance[LINING]
    face = lining + sight.chance[STEEL]
    rim, hole = (sight.to_cells(ellipse.points(AROUND)) for ellipse in (outer, inner))
    across = np.concatenate([ON_FACE, WITHIN, BEYOND])[:, None, None]
    cells = (hole + (rim - hole) * across).astype(np.float32)
    read, lined = (
        cv2.remap(plane, cells, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=np.nan)
        for plane in (face, lining)
    )
    shown = np.isfinite(read)
    ends = (len(ON_FACE), len(ON_FACE) + len(WITHIN))
    strips, counts = np.split(np.where(shown, read, 0), ends), np.split(shown, ends)
    on, within, beyond = (float(s.sum() / max(1, c.sum())) for s, c in zip(strips, counts, strict=True))
    share = float(np.nansum(lined[: len(ON_FACE)])) / max(1, counts[0].sum())
    odds = math.log((share + ODDS_FLOOR) / (max(0.0, on - share) + ODDS_FLOOR))
    return FaceSeen(on, max(within, beyond), float(np.clip(odds, -MOST_ODDS, MOST_ODDS)))


def band_seen(sight: Sight, spine: NDArray[np.floating]) -> float:
    """Mean chance, 0..1, of a band's lining along a line (n, 2) in pixels of the working copy."""
    cells = sight.to_cells(spine).astype(np.float32)[None]
    return float(cv2.remap(sight.chance[BAND_LINING], cells, None, cv2.INTER_LINEAR).mean())


def face_span(sight: Sight, xy: NDArray[np.float32]) -> tuple[int, int] | None:
    """First and last radius at which the network sees a face round a centre; None where it sees none.

    Parameters
    ----------
    xy : ndarray, shape (angles, radii, 2)
        Circles round the centre in pixels of the working copy.
    """
    cells = sight.to_cells(xy[::SPARSE]).astype(np.float32)
    face = sight.chance[LINING] + sight.chance[STEEL]
    profile = cv2.remap(face, cells, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).mean(axis=0)
    peak = int(profile.argmax())
    if profile[peak] < LEAST_FACE:
        return None
    low = profile < profile[peak] / 2
    before, after = np.flatnonzero(low[:peak]), np.flatnonzero(low[peak:])
    if not len(before) or not len(after):
        return None
    return int(before[-1]) + 1, peak + int(after[0]) - 1


ON_PLATE = (LINING, STEEL, TEETH, HOLE)
LEAST_CELLS = 14  # votes for a centre; a plate of 150 pixels in a photo of 4000 has about 35
SPREAD = 1.6  # cells; by how much votes of one plate scatter


def plate_centres(sight: Sight) -> NDArray[np.float64]:
    """Centres (n, 2) of plates in pixels of the working copy, the one most voted for first."""
    weight = sight.chance[list(ON_PLATE)].sum(axis=0)
    rows, columns = np.nonzero(weight > 0.5)
    height, width = weight.shape
    x = np.rint(columns + sight.offset[0, rows, columns]).astype(int)
    y = np.rint(rows + sight.offset[1, rows, columns]).astype(int)
    inside = (x >= 0) & (y >= 0) & (x < width) & (y < height)
    votes = np.zeros((height, width), np.float32)
    np.add.at(votes, (y[inside], x[inside]), weight[rows, columns][inside])
    votes = cv2.GaussianBlur(votes, (0, 0), SPREAD) * np.float32(
        2 * np.pi * SPREAD**2
    )  # about the votes near
    peak = (votes == cv2.dilate(votes, np.ones((7, 7), np.uint8))) & (votes > LEAST_CELLS)
    at = np.argwhere(peak)[:, ::-1]
    order = np.argsort(-votes[at[:, 1], at[:, 0]])
    return sight.to_photo(at[order])
