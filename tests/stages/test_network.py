"""Small networks whose weights are text."""

import numpy as np
import pytest

from tests.training.networks import as_read, averaged, written
from wearview.errors import ModelsError
from wearview.network import log_odds, read_layers, read_range


def test_log_odds_are_what_the_layers_say():
    # By hand: hidden units max(0, 2 - 1) = 1 and max(0, -2) = 0; then 3 * 1 + 5 * 0 + 0.5.
    layers = [
        (np.array([[2.0, -2.0]], np.float32), np.array([-1.0, 0.0], np.float32)),
        (np.array([[3.0], [5.0]], np.float32), np.array([0.5], np.float32)),
    ]
    assert log_odds(layers, np.array([[1.0]], np.float32)) == pytest.approx([3.5])


def test_the_average_of_networks_answers_their_mean():
    rng = np.random.default_rng(4)
    networks = [
        [(rng.normal(size=(3, 5)), rng.normal(size=5)), (rng.normal(size=(5, 1)), rng.normal(size=1))]
        for _ in range(4)
    ]
    values = rng.normal(size=(3, 7)).astype(np.float32)
    alone = [log_odds(as_read(layers), values) for layers in networks]
    assert log_odds(as_read(averaged(networks)), values) == pytest.approx(np.mean(alone, axis=0), abs=1e-5)


def test_the_average_of_deeper_networks_is_refused():
    layer = (np.ones((1, 1)), np.ones(1))
    with pytest.raises(ValueError, match="one hidden layer"):
        averaged([[layer, layer, layer]])


def test_what_was_written_is_read(tmp_path):
    layers = [(np.array([[0.125, -2.5e-7], [3, 40]]), np.array([0.5, -1])), (np.ones((2, 1)), np.zeros(1))]
    path = tmp_path / "weights.toml"
    path.write_text("\n".join(written(layers)))
    for read, layer in zip(read_layers(path), as_read(layers), strict=True):
        np.testing.assert_array_equal(read[0], layer[0])
        np.testing.assert_array_equal(read[1], layer[1])


def test_the_range_of_the_readings_is_read(tmp_path):
    path = tmp_path / "weights.toml"
    path.write_text("least = [-1, 0]\ngreatest = [1, 2.5]\n")
    low, high = read_range(path)
    assert (low.tolist(), high.tolist()) == ([-1.0, 0.0], [1.0, 2.5])


def test_a_file_without_ranges_is_named_with_the_remedy(tmp_path):
    path = tmp_path / "weights.toml"
    path.write_text("least = [1]")
    with pytest.raises(ModelsError, match=r"weights\.toml.*Install the program again"):
        read_range(path)


RAGGED = "[[layer]]\nbias = [1]\nweights = '''\n1 2\n3\n'''"


@pytest.mark.parametrize(
    "text", [None, "", "[[layer]]\nbias = [1]", "[[layer]]\nbias = [1]\nweights = [[1]]", RAGGED, "layer = ["]
)
def test_missing_or_damaged_weights_are_named_with_the_remedy(tmp_path, text):
    path = tmp_path / "weights.toml"
    if text is not None:
        path.write_text(text)
    with pytest.raises(ModelsError, match=r"weights\.toml.*Install the program again"):
        read_layers(path)
