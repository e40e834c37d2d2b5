"""Focus: what is published about sharpness of an edge, and whether ours follows it."""

import cv2
import numpy as np
import pytest
from scipy.stats import norm

from wearview.quality import RISE_PER_SIGMA, edge_width

STEP = np.zeros((64, 64), np.uint8)
STEP[:, 32:] = 255
# Variance of the Laplacian of a step edge of 255 in 64 x 64, sharp and after Gaussian sigma 1, 2, 4: computed
# with OpenCV, the measure of J. L. Pech-Pacheco and others, ICPR 2000.
VARIANCE = {0: 2032.03, 1: 124.8, 2: 17.66, 4: 2.34}


def blurred(sigma: float) -> np.ndarray:
    return cv2.GaussianBlur(STEP, (0, 0), sigma) if sigma else STEP


@pytest.mark.parametrize("sigma", VARIANCE)
def test_the_step_edges_are_those_of_the_published_measure(sigma):
    assert cv2.Laplacian(blurred(sigma), cv2.CV_64F, ksize=1).var() == pytest.approx(
        VARIANCE[sigma], rel=0.01
    )


def test_the_edge_width_ranks_them_as_the_published_measure_does():
    widths = [edge_width(blurred(sigma)) for sigma in VARIANCE]
    assert widths == sorted(widths)
    assert widths[-1] > 3 * widths[1]


def test_the_rise_of_a_gaussian_edge_is_that_of_the_normal_distribution():
    assert pytest.approx(2 * norm.ppf(0.9), abs=1e-4) == RISE_PER_SIGMA
