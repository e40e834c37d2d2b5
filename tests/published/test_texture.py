"""Texture measures of the image library, against a published example: before any reading leans on them.

R. M. Haralick, K. Shanmugam, I. Dinstein, Textural features for image classification, IEEE Trans.
SMC-3(6), 610-621, 1973, Fig. 3: a 4 x 4 image and its co-occurrence counts at distance 1. Rows run down
here, so that the library's angle pi/4 is the paper's 135 degrees (which of the two the paper calls so
is from memory).
"""

import numpy as np
import pytest
from skimage.feature import graycomatrix, graycoprops, local_binary_pattern

IMAGE = np.array([[0, 0, 1, 1], [0, 0, 1, 1], [0, 2, 2, 2], [2, 2, 3, 3]], np.uint8)
COUNTS = {
    0.0: [[4, 2, 1, 0], [2, 4, 0, 0], [1, 0, 6, 1], [0, 0, 1, 2]],
    np.pi / 4: [[2, 1, 3, 0], [1, 2, 1, 0], [3, 1, 0, 2], [0, 0, 2, 0]],
    np.pi / 2: [[6, 0, 2, 0], [0, 4, 2, 0], [2, 2, 2, 2], [0, 0, 2, 0]],
    3 * np.pi / 4: [[4, 1, 0, 0], [1, 2, 2, 0], [0, 2, 4, 1], [0, 0, 1, 0]],
}
# Computed from the first matrix, normalised.
FEATURES = {
    "contrast": 0.583333,
    "dissimilarity": 0.416667,
    "homogeneity": 0.808333,
    "ASM": 0.145833,
    "energy": 0.381881,  # the root of ASM
    "correlation": 0.719533,
}


@pytest.mark.parametrize(("angle", "counts"), COUNTS.items())
def test_the_co_occurrence_counts_are_the_papers(angle, counts):
    matrix = graycomatrix(IMAGE, [1], [angle], levels=4, symmetric=True)
    assert matrix[:, :, 0, 0].tolist() == counts


@pytest.mark.parametrize(("feature", "value"), FEATURES.items())
def test_the_features_follow_from_the_counts(feature, value):
    matrix = graycomatrix(IMAGE, [1], [0], levels=4, symmetric=True, normed=True)
    assert graycoprops(matrix, feature)[0, 0] == pytest.approx(value, abs=1e-5)


def test_a_flat_patch_has_one_binary_pattern():
    # T. Ojala, M. Pietikainen, T. Maenpaa, IEEE PAMI 24, 2002: uniform pattern of eight ones.
    codes = local_binary_pattern(np.full((8, 8), 7, np.uint8), 8, 1, "uniform")
    assert set(codes[1:-1, 1:-1].ravel()) == {8}
