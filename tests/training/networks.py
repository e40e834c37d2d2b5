"""Fit a small network and write its weights as text: what `wearview.network` reads."""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from sklearn.neural_network import MLPClassifier

Layers = list[tuple[NDArray[np.float64], NDArray[np.float64]]]


def fit_layers(
    values: NDArray[np.float32],
    true: NDArray[np.bool_],
    hidden: tuple[int, ...],
    settling: int = 0,
    **options: float,
) -> Layers:
    """Weights and biases of each layer, for readings as they come, shape (places, readings).

    After the passes that ``options`` ask for come ``settling`` more at a tenth of their rate.
    """
    middle, scale = values.mean(axis=0), values.std(axis=0) + 1e-6
    model = MLPClassifier(hidden, **options)
    scaled = (values - middle) / scale
    model.fit(scaled, true)
    if settling:
        rate = 0.1 * model.learning_rate_init
        model.set_params(warm_start=True, learning_rate_init=rate, max_iter=settling)
        model.fit(scaled, true)
    layers = list(zip(model.coefs_, model.intercepts_, strict=True))
    weights, bias = layers[0]
    weights = weights / scale[:, None]
    return [(weights, bias - middle @ weights), *layers[1:]]


def averaged(networks: Sequence[Layers]) -> Layers:
    """One network that answers the mean of several, each with one hidden layer.

    Raises
    ------
    ValueError
        Where one has not.
    """
    if any(len(layers) != 2 for layers in networks):
        raise ValueError("only networks with one hidden layer are averaged")
    hidden = np.concatenate([layers[0][0] for layers in networks], axis=1)
    answer = np.concatenate([layers[1][0] for layers in networks]) / len(networks)
    bias = np.concatenate([layers[0][1] for layers in networks])
    return [(hidden, bias), (answer, np.mean([layers[1][1] for layers in networks], axis=0))]


def as_read(layers: Layers) -> list[tuple[NDArray[np.float32], NDArray[np.float32]]]:
    """The layers as the program has them once they are written and read."""
    return [(weights.astype(np.float32), bias.astype(np.float32)) for weights, bias in layers]


def written(layers: Layers) -> Iterator[str]:
    """The layers as lines of TOML."""
    for weights, bias in layers:
        yield "[[layer]]"
        yield f"bias = [{', '.join(f'{v:.4g}' for v in bias)}]"
        yield "weights = '''"
        yield from (" ".join(f"{v:.4g}" for v in row) for row in weights)
        yield "'''"


def folds_of(scenes: Iterable[str], rng: np.random.Generator, folds: int) -> dict[str, int]:
    """In which of so many folds each scene is left out of the fit."""
    return {str(scene): k % folds for k, scene in enumerate(rng.permutation(sorted(set(scenes))))}
