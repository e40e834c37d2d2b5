"""How large a mat was really printed, from the sheet's own edges in the photo."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.mat.design import Design
from wearview.mat.plane import Plane

# "Fit to page" makes a print 3 to 6 % smaller; beyond a tenth nobody's printer errs.
SEARCHED = 0.12
STEP = 0.25  # mm between samples across an edge
LINES = 60  # across each edge
STRONG = 12.0  # 8-bit steps of the median line, over the scatter of the paper's margin
MOST_APART = 0.012  # between the scales that width and height give


def printed_scale(rgb8: NDArray[np.uint8], plane: Plane, design: Design) -> float:
    """True millimetres per printed millimetre; NaN where two opposite edges of the sheet do not show.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
    plane : Plane
        From printed mm to its pixels.
    design : Design
        Gives the sheet's true size.

    Notes
    -----
    Markers alone cannot tell: a small print seen from close by looks like a large one from further off. The
    sheet is what it says on the packet, so a sheet that seems too large has a print that is too small. The
    distance between opposite edges counts, since printers shift the page by a millimetre or two.
    """
    gray = cv2.GaussianBlur(cv2.cvtColor(rgb8, cv2.COLOR_RGB2GRAY), (0, 0), 0.8)
    scales = []
    for axis, size in ((0, design.width), (1, design.height)):
        ends = [_edge(gray, plane, design, axis, sign) for sign in (-1, 1)]
        scales.append(size / sum(ends))
    known = [scale for scale in scales if not math.isnan(scale)]
    if not known or max(known) - min(known) > MOST_APART:
        return math.nan
    return float(np.mean(known))


def _edge(gray: NDArray[np.uint8], plane: Plane, design: Design, axis: int, sign: int) -> float:
    """Distance of a sheet's edge from the middle in printed mm; NaN where it does not show."""
    half = (design.width if axis == 0 else design.height) / 2
    along_half = (design.height if axis == 0 else design.width) / 2
    # From just outside the outermost print to beyond the largest sheet a small print could lie on.
    outward = np.arange(half * (1 - 0.2 * SEARCHED), half * (1 + SEARCHED), STEP)
    along = np.linspace(-0.92, 0.92, LINES) * along_half
    across, beside = np.broadcast_arrays(outward * sign, along[:, None])
    mm = np.stack([across, beside] if axis == 0 else [beside, across], axis=-1)
    px = plane.to_px(mm).astype(np.float32)
    height, width = gray.shape
    inside = (px[..., 0] > 1) & (px[..., 0] < width - 2) & (px[..., 1] > 1) & (px[..., 1] < height - 2)
    lines = inside.all(axis=1)
    if lines.mean() < 0.4:
        return math.nan
    values = cv2.remap(gray, px[lines], None, cv2.INTER_LINEAR).astype(np.float32)
    reach = max(2, round(1.0 / STEP))
    step = np.abs(values[:, 2 * reach :] - values[:, : -2 * reach])
    rise = np.median(step, axis=0)
    best = int(rise.argmax())
    if rise[best] < STRONG or 0 in (best, len(rise) - 1):
        return math.nan
    return float(outward[best + reach])
