"""Small networks in `models/`, as text or as ONNX files, fitted in advance by `tests.training`."""

import tomllib
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.errors import ModelsError

Layers = list[tuple[NDArray[np.float32], NDArray[np.float32]]]


PAD = 114  # grey round a picture of another shape than a network's
# Of several threads that want a file at once one reads it and the others wait; a cache alone lets each do so.
_reading = Lock()


@cache
def read_range(path: Path) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Least and greatest value of each reading that the weights of a file were fitted to.

    Raises
    ------
    ModelsError
        The file is missing or has no ranges.
    """
    table = _table(path)
    try:
        return np.array(table["least"], np.float32), np.array(table["greatest"], np.float32)
    except (ValueError, KeyError, TypeError) as error:
        raise ModelsError(path.name, "it holds no ranges", "Install the program again") from error


@cache
def read_layers(path: Path) -> Layers:
    """Weights, shape (inputs, outputs), and bias of each layer of a file.

    Raises
    ------
    ModelsError
        The file is missing or holds no weights.
    """
    table = _table(path)
    try:
        return [
            # A block of text, as arrays of arrays take ten times as long to read.
            (
                np.loadtxt(layer["weights"].splitlines(), np.float32, ndmin=2),
                np.array(layer["bias"], np.float32),
            )
            for layer in table["layer"]
        ]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ModelsError(path.name, "it holds no weights", "Install the program again") from error


def _table(path: Path) -> dict[str, Any]:
    with _reading:
        return _parsed(path)


@cache
def _parsed(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise ModelsError(path.name, "the file is missing", "Install the program again") from error
    except ValueError as error:
        raise ModelsError(path.name, "it is no TOML", "Install the program again") from error


def answers(layers: Layers, values: NDArray[np.float32]) -> NDArray[np.float32]:
    """What the last layer says of each place, shape (outputs, places), from its readings, shape (readings,
    places).

    Rectified linear units but for the last layer.
    """
    for weights, bias in layers[:-1]:
        values = weights.T @ values
        values += bias[:, None]
        np.maximum(values, 0, out=values)
    weights, bias = layers[-1]
    return np.asarray(weights.T @ values + bias[:, None])


def log_odds(layers: Layers, values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Log odds of each place, shape (places,), by layers with one output; `answers` has the readings."""
    return np.asarray(answers(layers, values)[0])


def sight_of(
    path: Path, rgb8: NDArray[np.uint8], size: tuple[int, int], cell: int
) -> tuple[NDArray[np.float32], float]:
    """What a network that takes landscape pictures answers to one of any shape.

    Parameters
    ----------
    path : Path
        An ONNX file: 1 x 3 x height x width, sRGB 0..255, to 1 x channels x height / cell x width / cell.
    rgb8 : ndarray, shape (H, W, 3), uint8
        Made smaller to fit; an upright one is laid on its side, its top to the left, for the network.
    size : tuple of int
        Width and height of the picture that it takes.
    cell : int
        Pixels of that picture per cell of the answer.

    Returns
    -------
    answer : ndarray, shape (channels, h, w), float32
        As the network saw the picture, on its side where that is upright.
    scale : float
        Pixels of `rgb8` per cell.

    Raises
    ------
    ModelsError
        The file is missing or no network.
    """
    lying = rgb8 if rgb8.shape[1] >= rgb8.shape[0] else np.ascontiguousarray(np.rot90(rgb8))
    height, width = lying.shape[:2]
    factor = min(size[0] / width, size[1] / height)
    fitted = (max(cell, round(width * factor)), max(cell, round(height * factor)))
    sheet = np.full((size[1], size[0], 3), PAD, np.uint8)
    sheet[: fitted[1], : fitted[0]] = cv2.resize(lying, fitted, interpolation=cv2.INTER_AREA)
    with _reading:
        network, running = _network(path)
    with running:
        network.setInput(cv2.dnn.blobFromImage(sheet))
        answer = network.forward()[0].copy()
    return answer[:, : -(-fitted[1] // cell), : -(-fitted[0] // cell)], cell * width / fitted[0]


@cache
def _network(path: Path) -> tuple[cv2.dnn.Net, Lock]:
    """A network and its lock: OpenCV's keep what they compute inside."""
    if not path.is_file():
        raise ModelsError(path.name, "the file is missing", "Install the program again")
    try:
        return cv2.dnn.readNetFromONNX(str(path)), Lock()
    except cv2.error as error:
        raise ModelsError(
            path.name, "it is no network that OpenCV reads", "Install the program again"
        ) from error
