"""What a small network sees in a photo: `models/parts-1.onnx`, made by `tests.training.parts`.

It says which cells show lining, bare steel, teeth, a hole, clutter or a sheet of paper, and where the centre
of their plate lies. It proposes and casts doubt; rims stay ellipses fitted to edges, whatever proposes them.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.errors import ModelsError
from wearview.settings import models_folder

FILE = "parts-1.onnx"
LABELS = ("bench", "lining", "steel", "teeth", "hole", "clutter", "sheet", "band lining", "strap")
BENCH, LINING, STEEL, TEETH, HOLE, CLUTTER, SHEET, BAND_LINING, STRAP = range(len(LABELS))
SIZE = (512, 384)  # width, height of the picture that it takes
CELL = 2  # pixels of that picture per cell of the answer
OFFSET_UNIT = 64.0  # pixels of that picture
PAD = 114  # grey round a picture of another shape

_running = Lock()  # OpenCV's networks keep what they compute inside


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
    upright = working.shape[0] > working.shape[1]
    rgb = np.ascontiguousarray(np.rot90(working)) if upright else working
    height, width = rgb.shape[:2]
    factor = min(SIZE[0] / width, SIZE[1] / height)
    fitted = (max(CELL, round(width * factor)), max(CELL, round(height * factor)))
    sheet = np.full((SIZE[1], SIZE[0], 3), PAD, np.uint8)
    sheet[: fitted[1], : fitted[0]] = cv2.resize(rgb, fitted, interpolation=cv2.INTER_AREA)
    network = _network(models_folder() / FILE)
    with _running:
        network.setInput(cv2.dnn.blobFromImage(sheet))
        answer = network.forward()[0].copy()
    answer = answer[:, : -(-fitted[1] // CELL), : -(-fitted[0] // CELL)]
    chance, offset = answer[: len(LABELS)], answer[len(LABELS) :] * np.float32(OFFSET_UNIT / CELL)
    if upright:
        chance = np.rot90(chance, -1, axes=(1, 2))
        across, along = np.rot90(offset, -1, axes=(1, 2))
        offset = np.stack([-along, across])
    return Sight(np.ascontiguousarray(chance), np.ascontiguousarray(offset), CELL * width / fitted[0])


@cache
def _network(path: Path) -> cv2.dnn.Net:
    if not path.is_file():
        raise ModelsError(path.name, "the file is missing", "Install the program again")
    try:
        return cv2.dnn.readNetFromONNX(str(path))
    except cv2.error as error:
        raise ModelsError(
            path.name, "it is no network that OpenCV reads", "Install the program again"
        ) from error


ON_PLATE = (LINING, STEEL, TEETH, HOLE)
LEAST_CELLS = 25  # votes for a centre; a plate of 150 pixels in a photo of 4000 has about 60
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
    peak = (votes == cv2.dilate(votes, np.ones((9, 9), np.uint8))) & (votes > LEAST_CELLS)
    at = np.argwhere(peak)[:, ::-1]
    order = np.argsort(-votes[at[:, 1], at[:, 0]])
    return sight.to_photo(at[order])
