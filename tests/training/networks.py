"""Fit a small network and write its weights as text: what `wearview.network` reads."""

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray
from sklearn.neural_network import MLPClassifier

Layers = list[tuple[NDArray[np.float64], NDArray[np.float64]]]


def fit_layers(
    values: NDArray[np.float32], true: NDArray[np.bool_], hidden: tuple[int, ...], **options: float
) -> Layers:
    """Weights and biases of each layer, for readings as they come, shape (places, readings)."""
    middle, scale = values.mean(axis=0), values.std(axis=0) + 1e-6
    model = MLPClassifier(hidden, **options)
    model.fit((values - middle) / scale, true)
    layers = list(zip(model.coefs_, model.intercepts_, strict=True))
    weights, bias = layers[0]
    weights = weights / scale[:, None]
    return [(weights, bias - middle @ weights), *layers[1:]]


def written(layers: Layers) -> Iterator[str]:
    """The layers as lines of TOML."""
    for weights, bias in layers:
        yield "[[layer]]"
        yield f"bias = [{', '.join(f'{v:.4g}' for v in bias)}]"
        yield "weights = ["
        yield from (f"  [{', '.join(f'{v:.4g}' for v in row)}]," for row in weights)
        yield "]"


def folds_of(scenes: Iterable[str], rng: np.random.Generator, folds: int) -> dict[str, int]:
    """In which of so many folds each scene is left out of the fit."""
    return {str(scene): k % folds for k, scene in enumerate(rng.permutation(sorted(set(scenes))))}
