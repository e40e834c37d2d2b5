"""Colours of printed squares in a photo: sampled inside, judged one by one."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import SRGB_TO_XYZ, srgb_to_linear

INSIDE = 0.64  # of a square's side: blur, chroma subsampling and a slip of the fit stay outside
SAMPLES = 15  # places each way; more than a square has pixels in most photos, so none is missed
FEWEST_PIXELS = 20
CLIPPED, CLIPPED_SHARE = 250, 0.02  # codes from which a channel is lost, and the share of pixels that may be
# Codes beyond which phones bend highlights each in its own way (from memory): linear 0.83.
ROLLED_OFF = 235
BLACK_CODE = 3  # in all channels: on the foot of the curve, where nothing but noise is left
# Scatter of the smoothed level over the level, beyond which something lies on part of the square or it
# shines: prints of one ink scatter by 0.01 to 0.03 in scenes, a covered corner by 0.1 and more.
UNEVEN = 0.06
DARK_FLOOR = 0.02  # linear; scatter of a black square is noise and stray light, not cover

LUMINANCE = SRGB_TO_XYZ[1].astype(np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """A square's colour in a photo.

    Attributes
    ----------
    name : str
        Which square of the mat or chart.
    x, y : float
        Its middle in pixels.
    rgb8 : ndarray, shape (3,), float64
        Median code per channel, 0..255; NaN out of view.
    rgb_linear : ndarray, shape (3,), float64
        The same in linear light.
    problem : str or None
        "out of view", "clipped", "too dark" or "uneven" when it cannot be used.
    """

    name: str
    x: float
    y: float
    rgb8: NDArray[np.float64]
    rgb_linear: NDArray[np.float64]
    problem: str | None

    @property
    def usable(self) -> bool:
        """Whether nothing speaks against it by itself; what hides it evenly only shows beside others."""
        return self.problem is None

    @property
    def rolled_off(self) -> bool:
        """Whether it is so bright that a phone has begun to bend it towards white."""
        return bool(self.rgb8.max() > ROLLED_OFF)


def sample_square(
    rgb8: NDArray[np.uint8], corners: NDArray[np.floating], name: str, inside: float = INSIDE
) -> Sample:
    """The colour of one square.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
        The photo or a copy of it.
    corners : ndarray, shape (4, 2)
        The square's corners in pixels, in order round it.
    name : str
        What to call it.
    inside : float
        Share of its side that is looked at.
    """
    height, width = rgb8.shape[:2]
    step = (np.arange(SAMPLES) + 0.5) / SAMPLES * inside + (1 - inside) / 2
    u, v = np.meshgrid(step, step)
    a, b, c, d = np.asarray(corners, float)
    at = (1 - v)[..., None] * ((1 - u)[..., None] * a + u[..., None] * b)
    at = at + v[..., None] * ((1 - u)[..., None] * d + u[..., None] * c)
    x, y = at.mean(axis=(0, 1))
    column, row = np.rint(at[..., 0]).astype(int), np.rint(at[..., 1]).astype(int)
    seen = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    nothing = np.full(3, math.nan)
    if not seen.all() or len(np.unique(row * width + column)) < FEWEST_PIXELS:
        return Sample(name, float(x), float(y), nothing, nothing, "out of view")
    codes = rgb8[row, column]
    median = np.median(codes.reshape(-1, 3), axis=0)
    return Sample(name, float(x), float(y), median, _linear(median), _fault(codes, median))


def _linear(codes: NDArray[np.floating]) -> NDArray[np.float64]:
    return srgb_to_linear(np.asarray(codes) / 255).astype(np.float64)


def _fault(codes: NDArray[np.uint8], median: NDArray[np.floating]) -> str | None:
    if (codes >= CLIPPED).any(axis=-1).mean() > CLIPPED_SHARE:
        return "clipped"
    if (median <= BLACK_CODE).all():
        return "too dark"
    level = cv2.blur(srgb_to_linear(codes) @ LUMINANCE, (5, 5))
    middle = float(np.median(level))
    spread = float(np.quantile(level, 0.95) - np.quantile(level, 0.05)) / 2
    return "uneven" if spread > UNEVEN * (middle + DARK_FLOOR) else None
