"""Small networks whose weights are text."""

import numpy as np
import pytest

from wearview.errors import ModelsError
from wearview.network import log_odds, read_layers


def test_log_odds_are_what_the_layers_say():
    # By hand: hidden units max(0, 2 - 1) = 1 and max(0, -2) = 0; then 3 * 1 + 5 * 0 + 0.5.
    layers = [
        (np.array([[2.0, -2.0]], np.float32), np.array([-1.0, 0.0], np.float32)),
        (np.array([[3.0], [5.0]], np.float32), np.array([0.5], np.float32)),
    ]
    assert log_odds(layers, np.array([[1.0]], np.float32)) == pytest.approx([3.5])


@pytest.mark.parametrize("text", [None, "", "[[layer]]\nbias = [1]", "layer = ["])
def test_missing_or_damaged_weights_are_named_with_the_remedy(tmp_path, text):
    path = tmp_path / "weights.toml"
    if text is not None:
        path.write_text(text)
    with pytest.raises(ModelsError, match=r"weights\.toml.*Install the program again"):
        read_layers(path)
