"""From rims and what lies beyond them to pixels: the part, its face, and the bare steel beside the face."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.parts.beyond import WITHIN, Beyond
from wearview.parts.part import Ellipse, radius_ratio
from wearview.parts.teeth import CORE_RING


@dataclass(frozen=True, slots=True, eq=False)
class PlateMasks:
    """Masks of one plate as if nothing lay over it, cropped.

    Attributes
    ----------
    origin : tuple of int
        x, y of the crop's top-left pixel.
    part, face, metal : ndarray of bool, shape (h, w)
        The whole part; its face; bare core and teeth.
    """

    origin: tuple[int, int]
    part: NDArray[np.bool_]
    face: NDArray[np.bool_]
    metal: NDArray[np.bool_]


def polar_of(
    outer: Ellipse, inner: Ellipse, x: NDArray[np.floating], y: NDArray[np.floating]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Radius over the outer rim's and angle (radians, clockwise on screen from +x) of points of the photo.

    Exact on both rims, a blend between and beyond: in a slanted view the rims' centres differ.
    """
    share, rho = _rho_of(outer, inner, x, y)
    return rho.astype(np.float32), _angle_of(outer, inner, x, y, share).astype(np.float32)


def _rho_of(
    outer: Ellipse, inner: Ellipse, x: NDArray[np.floating], y: NDArray[np.floating]
) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """How far points lie from the inner rim (0) to the outer (1), and their radius over the outer rim's."""
    ratio = radius_ratio(outer, inner)
    by_outer, by_inner = outer.radius_of(x, y), ratio * inner.radius_of(x, y)
    share = np.clip((0.5 * (by_outer + by_inner) - ratio) / (1 - ratio), 0, 1)
    return share, by_inner + share * (by_outer - by_inner)


def _angle_of(
    outer: Ellipse,
    inner: Ellipse,
    x: NDArray[np.floating],
    y: NDArray[np.floating],
    share: NDArray[np.floating],
) -> NDArray[np.floating]:
    inverse = np.linalg.inv(outer.axes)
    dx = x - (inner.cx + share * (outer.cx - inner.cx))
    dy = y - (inner.cy + share * (outer.cy - inner.cy))
    return np.arctan2(inverse[1, 0] * dx + inverse[1, 1] * dy, inverse[0, 0] * dx + inverse[0, 1] * dy)


def plate_masks(
    shape: tuple[int, int], outer: Ellipse, inner: Ellipse, outside: Beyond, inside: Beyond
) -> PlateMasks:
    """Masks of a plate in an image of this (height, width)."""
    reach = (1 + outside.farthest) * 1.02
    t = math.radians(outer.angle_deg)
    half_w = reach * math.hypot(outer.major / 2 * math.cos(t), outer.minor / 2 * math.sin(t)) + 2
    half_h = reach * math.hypot(outer.major / 2 * math.sin(t), outer.minor / 2 * math.cos(t)) + 2
    x0, y0 = max(0, math.floor(outer.cx - half_w)), max(0, math.floor(outer.cy - half_h))
    x1, y1 = min(shape[1], math.ceil(outer.cx + half_w) + 1), min(shape[0], math.ceil(outer.cy + half_h) + 1)
    x, y = np.arange(x0, x1, dtype=np.float32)[None], np.arange(y0, y1, dtype=np.float32)[:, None]
    share, rho = _rho_of(outer, inner, x, y)
    ratio = radius_ratio(outer, inner)
    face = (rho <= 1) & (rho >= ratio)
    part = face.copy()
    # Angles, which cost most, only where the plate may end.
    for offset, beyond in ((rho - 1, outside), (ratio - rho, inside)):
        places = np.flatnonzero((offset > -WITHIN) & (offset <= beyond.farthest))
        rows, columns = np.divmod(places, x.shape[1])
        angle = _angle_of(outer, inner, x[0].take(columns), y[:, 0].take(rows), share.take(places))
        part.ravel()[places] = beyond.covers(offset.take(places), angle)
    metal = part & ((rho > 1 + 0.25 * CORE_RING) | (rho < ratio - 0.25 * CORE_RING))
    return PlateMasks((x0, y0), part, face & part, metal)
