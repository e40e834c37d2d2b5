"""From rims and teeth to pixels: the part, its face, and the bare steel beside the face."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.parts.part import Ellipse
from wearview.parts.rims import ANGLES
from wearview.parts.teeth import CORE_RING, Teeth


@dataclass(frozen=True, slots=True, eq=False)
class PlateMasks:
    """Masks of one plate as if nothing lay over it, cropped.

    Attributes
    ----------
    origin : tuple of int
        x, y of the crop's top-left pixel.
    part, face, metal : ndarray of bool, shape (h, w)
        The whole part; its face; bare core and teeth.
    angle : ndarray, shape (h, w), int
        Index of the ray (0 .. ANGLES - 1) each pixel lies on.
    rho : ndarray, shape (h, w), float32
        Radius over the outer rim's.
    """

    origin: tuple[int, int]
    part: NDArray[np.bool_]
    face: NDArray[np.bool_]
    metal: NDArray[np.bool_]
    angle: NDArray[np.int32]
    rho: NDArray[np.float32]


def polar_of(
    outer: Ellipse, inner: Ellipse, x: NDArray[np.floating], y: NDArray[np.floating]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Radius over the outer rim's and angle (radians, clockwise on screen from +x) of points of the photo.

    Exact on both rims, a blend between and beyond: in a slanted view the rims' centres differ.
    """
    ratio = math.sqrt(inner.major * inner.minor / (outer.major * outer.minor))
    by_outer, by_inner = outer.radius_of(x, y), ratio * inner.radius_of(x, y)
    share = np.clip((0.5 * (by_outer + by_inner) - ratio) / (1 - ratio), 0, 1)
    rho = share * by_outer + (1 - share) * by_inner
    cx = inner.cx + share * (outer.cx - inner.cx)
    cy = inner.cy + share * (outer.cy - inner.cy)
    inverse = np.linalg.inv(outer.axes)
    dx, dy = x - cx, y - cy
    angle = np.arctan2(inverse[1, 0] * dx + inverse[1, 1] * dy, inverse[0, 0] * dx + inverse[0, 1] * dy)
    return rho.astype(np.float32), angle.astype(np.float32)


def plate_masks(
    shape: tuple[int, int], outer: Ellipse, inner: Ellipse, outside: Teeth, inside: Teeth
) -> PlateMasks:
    """Masks of a plate in an image of this (height, width)."""
    reach = max(1.0, outside.tip) * 1.02
    t = math.radians(outer.angle_deg)
    half_w = reach * math.hypot(outer.major / 2 * math.cos(t), outer.minor / 2 * math.sin(t)) + 2
    half_h = reach * math.hypot(outer.major / 2 * math.sin(t), outer.minor / 2 * math.cos(t)) + 2
    x0, y0 = max(0, math.floor(outer.cx - half_w)), max(0, math.floor(outer.cy - half_h))
    x1, y1 = min(shape[1], math.ceil(outer.cx + half_w) + 1), min(shape[0], math.ceil(outer.cy + half_h) + 1)
    y, x = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    rho, angle = polar_of(outer, inner, x, y)
    index = (np.rint(angle * (ANGLES / (2 * math.pi))).astype(np.int32)) % ANGLES
    ratio = math.sqrt(inner.major * inner.minor / (outer.major * outer.minor))
    face = (rho <= 1) & (rho >= ratio)
    outer_end = np.where(outside.solid, outside.tip, _root(outside, 1.0))
    inner_end = np.where(inside.solid, inside.tip, _root(inside, ratio))
    part = (rho <= outer_end[index]) & (rho >= inner_end[index])
    metal = part & ~face & ((rho > 1 + 0.25 * CORE_RING) | (rho < ratio - 0.25 * CORE_RING))
    return PlateMasks((x0, y0), part, face, metal, index, rho)


def _root(teeth: Teeth, rim: float) -> float:
    """Where the gaps between teeth end; on a steel that is the rim itself, which defines the face."""
    return teeth.root if teeth.count and abs(teeth.root - rim) > CORE_RING else rim
