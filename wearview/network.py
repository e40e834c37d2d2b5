"""Small networks whose weights are text in `models/`, fitted in advance by `tests.training`."""

import tomllib
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wearview.errors import ModelsError

Layers = list[tuple[NDArray[np.float32], NDArray[np.float32]]]


@cache
def read_layers(path: Path) -> Layers:
    """Weights, shape (inputs, outputs), and bias of each layer of a file.

    Raises
    ------
    ModelsError
        The file is missing or holds no weights.
    """
    try:
        layers = tomllib.loads(path.read_text("utf-8"))["layer"]
        return [(np.array(la["weights"], np.float32), np.array(la["bias"], np.float32)) for la in layers]
    except OSError as error:
        raise ModelsError(path.name, "the file is missing", "Install the program again") from error
    except (ValueError, KeyError, TypeError) as error:
        raise ModelsError(path.name, "it holds no weights", "Install the program again") from error


def log_odds(layers: Layers, values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Log odds of each place, shape (places,), from its readings, shape (readings, places).

    Rectified linear units but for the last layer, which has one output.
    """
    for weights, bias in layers[:-1]:
        values = weights.T @ values
        values += bias[:, None]
        np.maximum(values, 0, out=values)
    weights, bias = layers[-1]
    return np.asarray((weights.T @ values)[0] + bias[0])
