"""The map laid over a face: how far a lining's colour is from clean, or which tint a steel has."""

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ImageColor

from wearview.draw.hatch import hatch
from wearview.palette import LEVEL_COLOURS, ink_of, rgb_of
from wearview.parts import Part
from wearview.parts.masks import polar_of
from wearview.record import GradedPart
from wearview.surface import GRID, Face
from wearview.terms import TINTS

Rgb = NDArray[np.uint8]

# Delta E at which the map takes the colour of each level: the thresholds of the rules, so that the eye and
# the grade speak of the same thing.
MAP_STOPS = (0.0, 5.0, 10.0, 20.0, 32.0)
# Tints are shown in a colour of their family.
TINT_COLOURS = {
    "straw": "#d9b44a",
    "brown": "#8a5a2b",
    "purple": "#7b3f8c",
    "blue": "#2f5fb3",
    "grey": "#9aa0a6",
    "other": "#4d8f6a",
}
# The level whose hatch lies over each tint, in the ink of that level: brown, purple and blue are one grey to
# a printer without colour.
TINT_LEVELS = {"straw": 1, "brown": 2, "purple": 2, "blue": 3, "grey": 4, "other": None}
HATCH = 0.5  # how much of the tint the ink of its hatch covers
# How much of the photo the map covers. At 0.55 grooves, print and fibres still show through every colour, and
# the colours of two levels are still told apart on a tan, a green and a red-brown lining.
STRENGTH = 0.55
FAINTEST = 0.15  # of STRENGTH, where the lining is as clean
SOFT = 1.2  # pixels of the working copy over which the map fades into what was left out
FEWEST_SHOWN = 0.002  # share of a face from which a tint stands in the legend: one hot spot's middle


def lay_map(canvas: Rgb, graded: GradedPart, unit: float = 1.0) -> None:
    """Blend a part's map over its face, in place. What was not measured shows the photo.

    Parameters
    ----------
    canvas : ndarray, shape (H, W, 3), uint8
        The working copy.
    graded : GradedPart
    unit : float
        Pixels of the canvas for each pixel of one that is 1600 wide.
    """
    if graded.face is None:
        return
    if graded.lining is not None:
        values = graded.lining.delta_e_map
        colours = ramp(values)
        weight = np.clip(values / MAP_STOPS[1], FAINTEST, 1.0)
    elif graded.steel is not None:
        colours, weight = _family_colours(graded.steel.family_map)
    else:
        return
    weight = np.where(graded.face.mask & np.isfinite(weight), weight, 0).astype(np.float32)
    colours[weight == 0] = 0
    laid, share = _in_photo(graded, graded.face, colours, weight)
    part = graded.part
    share = share * part.face_mask * np.float32(STRENGTH)
    x0, y0 = part.origin
    if graded.steel is not None:
        _hatch_tints(laid, graded, graded.face, graded.steel.family_map, unit)
    shown = np.flatnonzero(share)
    rows, columns = np.divmod(shown, share.shape[1])
    at, pixels = (rows + y0) * canvas.shape[1] + columns + x0, canvas.reshape(-1, 3)
    share = share.ravel().take(shown)[:, None]
    mixed = pixels.take(at, axis=0) * (1 - share) + laid.reshape(-1, 3).take(shown, axis=0) * share
    pixels[at] = np.rint(mixed).astype(np.uint8)


def tints_shown(graded: GradedPart) -> set[str]:
    """Tints that cover enough of a steel's face to be seen on its map."""
    if graded.steel is None or graded.face is None:
        return set()
    counts = np.bincount(graded.steel.family_map[graded.face.mask].ravel(), minlength=256)
    return {
        tint
        for i, tint in enumerate(TINTS)
        if tint in TINT_COLOURS and counts[i] > FEWEST_SHOWN * counts.sum()
    }


def _in_photo(
    graded: GradedPart, face: Face, colours: Rgb, weight: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Colours and their weights, from the face's grid to the pixels of the part's crop."""
    if (places := _grid_places(graded.part, face)) is not None:
        premixed = cv2.remap(colours * weight[..., None], *places, cv2.INTER_LINEAR)
        share = cv2.remap(weight, *places, cv2.INTER_LINEAR)
    else:
        premixed, share = _splat(graded, face, colours, weight)
    premixed, soft = (cv2.GaussianBlur(a, (0, 0), SOFT) for a in (premixed, share))
    return np.asarray(premixed / np.maximum(soft, 1e-3)[..., None], np.float32), np.asarray(soft, np.float32)


def _grid_places(part: Part, face: Face) -> tuple[NDArray[np.float32], NDArray[np.float32]] | None:
    """x and y on a ring's grid of each pixel of the part's crop; None for a band."""
    if part.outer is None or part.inner is None:
        return None
    h, w = part.face_mask.shape
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    full_x = (x + part.origin[0] + 0.5) * part.scale - 0.5
    full_y = (y + part.origin[1] + 0.5) * part.scale - 0.5
    rho, angle = polar_of(part.outer, part.inner, full_x, full_y)
    middle = (face.mask.shape[0] - 1) / 2
    at_x = (rho * np.cos(angle) * (GRID / 2) + middle).astype(np.float32)
    at_y = (rho * np.sin(angle) * (GRID / 2) + middle).astype(np.float32)
    return at_x, at_y


def _hatch_tints(
    laid: NDArray[np.float32], graded: GradedPart, face: Face, families: NDArray[np.uint8], unit: float
) -> None:
    """Draw the hatch of each tint into the colours that are laid over a steel, in place."""
    if (places := _grid_places(graded.part, face)) is None:
        return
    family = cv2.remap(families, *places, cv2.INTER_NEAREST, borderValue=255)
    x = np.arange(family.shape[1], dtype=np.float32)[None] / unit
    y = np.arange(family.shape[0], dtype=np.float32)[:, None] / unit
    for i, tint in enumerate(TINTS):
        here = family == i
        if tint in TINT_LEVELS and here.any():
            inked = here & hatch(TINT_LEVELS[tint], x, y)
            ink = np.array(ImageColor.getrgb(ink_of(TINT_LEVELS[tint])), np.float32)
            laid[inked] = (1 - HATCH) * laid[inked] + HATCH * ink


def _splat(
    graded: GradedPart, face: Face, colours: Rgb, weight: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """A band's straightened map laid back along its spine: the mean of the grid pixels on each pixel."""
    part = graded.part
    h, w = part.face_mask.shape
    at = np.rint((face.xy + 0.5) / part.scale - 0.5 - np.array(part.origin)).astype(int)
    inside = (at[..., 0] >= 0) & (at[..., 1] >= 0) & (at[..., 0] < w) & (at[..., 1] < h)
    cell = (at[..., 1] * w + at[..., 0])[inside]
    layers = np.dstack([colours * weight[..., None], weight, np.ones_like(weight)])[inside]
    total = np.stack([np.bincount(cell, layers[:, k], h * w) for k in range(5)], axis=-1)
    total = total.reshape(h, w, 5).astype(np.float32)
    # The grid of a bent band leaves pixels between its own: they take the mean of their neighbours.
    near = cv2.boxFilter(total, -1, (3, 3))
    total = np.where(total[..., 4:] > 0, total, near)
    mean = total[..., :4] / np.maximum(total[..., 4:], 1e-3)
    return np.asarray(mean[..., :3], np.float32), np.asarray(mean[..., 3], np.float32)


def ramp(values: NDArray[np.float32]) -> Rgb:
    """Colours of Delta E, between the colours of the levels; any colour where it is NaN."""
    stops = np.array([rgb_of(level) for level in range(len(LEVEL_COLOURS))], float)
    known = np.where(np.isfinite(values), values, 0)
    return np.stack([np.interp(known, MAP_STOPS, stops[:, k]) for k in range(3)], axis=-1).astype(np.uint8)


def _family_colours(families: NDArray[np.uint8]) -> tuple[Rgb, NDArray[np.float32]]:
    table, shown = np.zeros((256, 3), np.uint8), np.zeros(256, np.float32)
    for i, tint in enumerate(TINTS):
        if tint in TINT_COLOURS:
            table[i], shown[i] = ImageColor.getrgb(TINT_COLOURS[tint]), 1.0
    return table[families], shown[families]
