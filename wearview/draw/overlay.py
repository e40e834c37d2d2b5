"""The picture of a graded photo: parts outlined, numbered, graded in words, their faces mapped."""

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageColor

from wearview.draw.heat import Rgb, lay_map
from wearview.draw.labels import label_parts, write_banner
from wearview.draw.legend import legend
from wearview.palette import ink_of, rgb_of
from wearview.record import GradedPart, GradedPhoto

LINE, EDGE = (
    5.0,
    1.5,
)  # of an outline and of the thin line on both sides of it, in pixels of a picture 1600 wide
SPECK = 40  # pixels of contour below which a piece or a hole gets no outline
TOOTH_GAP = (
    0.03  # of the part's width: narrower gaps between teeth are bridged, so that the line runs smoothly
)


def overlay_photo(graded: GradedPhoto) -> Rgb:
    """The working copy with every part outlined, numbered, graded in words, and its face mapped.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        At most 1600 pixels wide; a legend is added below where there is a map.
    """
    canvas = graded.working.copy()
    unit = canvas.shape[1] / 1600
    for part in graded.parts:
        lay_map(canvas, part, unit)
    taken = np.zeros(canvas.shape[:2], bool)
    for part in graded.parts:
        x, y = part.part.origin
        h, w = part.part.part_mask.shape
        taken[y : y + h, x : x + w] |= part.part.part_mask
    for part in graded.parts:
        _outline(canvas, part, taken, unit)
    picture = Image.fromarray(canvas)
    label_parts(picture, graded.parts, taken.astype(np.float32), unit)
    if not graded.parts:
        reason = next(iter(graded.problems), "no part found")
        write_banner(picture, f"Cannot be graded: {reason}", unit)
    return np.vstack([np.asarray(picture), legend(graded.parts, canvas.shape[1], unit)])


def _outline(canvas: Rgb, graded: GradedPart, taken: NDArray[np.bool_], unit: float) -> None:
    """A line round the part, just outside it, so that rim and teeth stay in view, and off other parts."""
    part = graded.part
    level = None if graded.grade is None else graded.grade.level
    pad = int(np.ceil((LINE + 2 * EDGE) * unit)) + max(5, round(TOOTH_GAP * part.part_mask.shape[1]))
    solid = np.pad(_without_specks(part.part_mask), pad)
    size = max(3, round(TOOTH_GAP * min(part.part_mask.shape))) | 1
    solid = cv2.morphologyEx(
        solid, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    )
    away = cv2.distanceTransform(1 - solid, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    x0, y0 = part.origin[0] - pad, part.origin[1] - pad
    left, top = max(0, -x0), max(0, -y0)
    right = min(away.shape[1], canvas.shape[1] - x0)
    bottom = min(away.shape[0], canvas.shape[0] - y0)
    away = away[top:bottom, left:right]
    line, edge = max(2.0, LINE * unit), max(1.0, EDGE * unit)
    edging = ImageColor.getrgb(
        ink_of(level)
    )  # so that a dark line stands out from a dark bench, and a pale one from paper
    # Only what the line may touch: most of the box is bench or part.
    near = np.flatnonzero((away > 0) & (away < line + 2 * edge + 1))
    rows, columns = np.divmod(near, away.shape[1])
    at = (rows + (y0 + top)) * canvas.shape[1] + columns + (x0 + left)
    away, on_part, pixels = away.ravel().take(near), taken.ravel().take(at), canvas.reshape(-1, 3)
    for colour, inner, outer in ((edging, 0.0, line + 2 * edge), (rgb_of(level), edge, line + edge)):
        share = np.clip(away - inner, 0, 1) * np.clip(outer + 1 - away, 0, 1)
        # On another part only the thin line that parts the two.
        share = np.where(on_part & (away > edge + 1), 0, share)[:, None]
        under = pixels.take(at, axis=0)
        pixels[at] = np.rint(under * (1 - share) + np.array(colour) * share).astype(np.uint8)


def _without_specks(mask: NDArray[np.bool_]) -> NDArray[np.uint8]:
    padded = np.pad(mask.astype(np.uint8), 1)
    contours, _ = cv2.findContours(padded, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    clean = np.zeros_like(padded)
    cv2.drawContours(clean, [c for c in contours if len(c) > SPECK], -1, 1, cv2.FILLED)
    return clean[1:-1, 1:-1]
