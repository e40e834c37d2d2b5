"""Lining or bare metal: what a rectified face says, beside what its teeth say."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts import Part
from wearview.settings import Settings
from wearview.surface import GRID, Rectified

USUAL_STEEL = (60.0, 0.0, 4.0)  # Lab of teeth where none can be measured
ROUND = 1024  # places round the unrolled plate: a grid pixel at two thirds of the outer radius
# Of the outer radius: how far the unrolled plate reaches beyond the face, where a lining's core shows as a
# lip, and how far a rim reaches inwards. A core stands out by 0.3 to 1.5 mm (common practice, no source).
BEYOND_INNER, BEYOND_OUTER, RIM, MARGIN = 0.06, 0.026, 0.045, 0.012
NOISE_FLOOR = 0.2  # per cent of L* + 16, so that the logarithm of a smooth face stays finite
FINE, COARSE = 0.7, 1.5  # grid pixels: fibres and grinding marks; flocks of fibres

Plane = NDArray[np.float32]
Mask = NDArray[np.bool_]


def material_features(rectified: Rectified, part: Part) -> dict[str, float]:
    """Numbers that tell lining from steel.

    Parameters
    ----------
    rectified : Rectified
        Of a plate.
    part : Part
        The plate.

    Returns
    -------
    dict
        "inner_teeth": 1 for teeth on the inner edge, as most friction plates have. "chroma", "even": how
        colourful, and how colourful without a spread; oxide runs through many hues, lining through one.
        "spread_l", "spread_b": 10th to 90th percentile. "blue": share of bluish pixels. "bluer", "purple",
        "as_teeth": shares bluer than, more purple than, and just like the part's own teeth. "grain",
        "flocks", "lay": log contrast of the texture round the plate, fine and coarse, and along the radius;
        fibres lie every way, turned steel is smooth round the plate. "root_step": lightness beside the teeth
        less that of the teeth, which on a steel are one piece. "lip", "ridge": how much lighter the core that
        stands out beyond a lining's outer edge is. "cut": how often a dark mark begins or ends round the
        plate, as grooves do and smears do not. All scaled to about 0..3.
    """
    whole, marks = rectified.whole, rectified.marks
    seen = whole & ~rectified.clipped & ~marks["groove"] & ~marks["ink"]
    lab = rectified.lab[seen] if seen.sum() > 200 else rectified.lab[whole]
    teeth = rectified.metal_lab if np.isfinite(rectified.metal_lab).all() else np.array(USUAL_STEEL)
    inner_teeth = part.evidence.get("inner_teeth", 0.0)
    at, rho, ratio = _unrolled_grid(part)
    shown, measured, groove = (_unrolled(mask, at) for mask in (whole, seen, marks["groove"]))
    unrolled = cv2.remap(rectified.lab, *at, cv2.INTER_LINEAR)
    grooves = np.diff(groove.astype(np.int8), axis=1)[shown[:, 1:]]
    return {
        "inner_teeth": inner_teeth,
        **_colour(lab if len(lab) else np.zeros((1, 3), np.float32), teeth),
        **_texture(unrolled[..., 0], shown, measured),
        **_rims(unrolled, shown, rho, ratio, teeth, inner_teeth > 0),
        "cut": 20 * float(np.abs(grooves).mean()) if grooves.size else 0.0,
    }


def _colour(lab: Plane, teeth: NDArray[np.float64]) -> dict[str, float]:
    low, middle, high = np.quantile(lab, [0.1, 0.5, 0.9], axis=0)
    spread = high - low
    chroma = float(np.hypot(middle[1], middle[2]))
    red, yellow = lab[:, 1] - teeth[1], lab[:, 2] - teeth[2]
    return {
        "chroma": min(chroma, 30) / 10,
        "even": chroma / 10 * math.exp(-float(spread[2]) / 6),
        "spread_l": min(float(spread[0]), 40) / 20,
        "spread_b": min(float(spread[2]), 30) / 10,
        "blue": float((lab[:, 2] < -5).mean()),
        "bluer": float((yellow < -6).mean()),
        "purple": float(((yellow < -3) & (red > 3)).mean()),
        "as_teeth": float(((np.hypot(red, yellow) < 3) & (lab[:, 0] > 0.8 * teeth[0])).mean()),
    }


def _unrolled_grid(part: Part) -> tuple[tuple[Plane, Plane], NDArray[np.float64], float]:
    """Places on the grid of the unrolled plate (radius down, angle along), radii of its rows as shares of the
    outer radius, and the inner edge's radius."""
    assert part.outer is not None
    assert part.inner is not None
    ratio = math.sqrt(part.inner.major * part.inner.minor / (part.outer.major * part.outer.minor))
    rho = np.arange((ratio - BEYOND_INNER) * GRID / 2, (1 + BEYOND_OUTER) * GRID / 2) / (GRID / 2)
    angle = np.arange(ROUND) * (2 * math.pi / ROUND)
    middle = (round(GRID * 1.03) - 1) / 2
    radius = rho[:, None] * GRID / 2
    at = (
        (middle + radius * np.cos(angle)).astype(np.float32),
        (middle + radius * np.sin(angle)).astype(np.float32),
    )
    return at, rho, ratio


def _unrolled(mask: Mask, at: tuple[Plane, Plane]) -> Mask:
    return cv2.remap(mask.astype(np.uint8), *at, cv2.INTER_NEAREST).astype(bool)


def _texture(lightness: Plane, shown: Mask, measured: Mask) -> dict[str, float]:
    """Log contrast, in per cent of L* + 16, over about one and two fibres."""
    root = 100 * np.log(np.maximum(lightness + 16, 1))
    fine, coarse = (_smooth(root, shown, sigma) for sigma in (FINE, COARSE))
    return {
        "grain": _contrast(fine, measured, 1, 1),
        "flocks": _contrast(coarse, measured, 2, 1),
        "lay": _contrast(fine, measured, 1, 0),
    }


def _smooth(values: Plane, shown: Mask, sigma: float) -> Plane:
    weight = shown.astype(np.float32)
    total = cv2.GaussianBlur(values * weight, (0, 0), sigma)
    return np.asarray(total / np.maximum(cv2.GaussianBlur(weight, (0, 0), sigma), 1e-3), np.float32)


def _contrast(values: Plane, measured: Mask, step: int, axis: int) -> float:
    one, two = (np.s_[step:], np.s_[:-step]) if axis == 0 else (np.s_[:, step:], np.s_[:, :-step])
    both = measured[one] & measured[two]
    usual = float(np.median(np.abs(values[one] - values[two])[both])) if both.sum() > 100 else 1.0
    return math.log(usual + NOISE_FLOOR)


def _rims(
    lab: Plane,
    shown: Mask,
    rho: NDArray[np.float64],
    ratio: float,
    teeth: NDArray[np.float64],
    inner_teeth: bool,
) -> dict[str, float]:
    """What the face is like beside its teeth, and what stands out beyond its outer edge."""
    on_face = (rho > ratio + MARGIN) & (rho < 1 - MARGIN)
    clear = shown[on_face].mean(axis=0) > 0.8
    if clear.sum() < 50:
        clear[:] = True
    lightness = lab[:, clear, 0]
    usual = np.median(lightness, axis=1)
    inner, outer = (rho > ratio + MARGIN) & (rho < ratio + RIM), (rho > 1 - RIM) & (rho < 1 - MARGIN)
    lip = (rho > 0.99) & (rho < 1.02)
    beside = np.median(lightness[outer], axis=0)
    return {
        "root_step": float(np.clip(np.median(usual[inner if inner_teeth else outer]) - teeth[0], -50, 50))
        / 20,
        "lip": float(np.median(lightness[lip].max(axis=0) - beside)) / 10,
        "ridge": float(np.clip(usual[lip].max() - np.median(usual[outer]), -20, 30)) / 10,
    }


def lining_chance(features: dict[str, float], settings: Settings) -> float:
    """Chance, 0..1, that a face is lining and not bare metal.

    Logistic regression with the weights of `models/material.toml`, fitted by `python -m
    tests.training.material`.
    """
    total = settings.material["bias"] + sum(
        settings.material[name] * value for name, value in features.items()
    )
    return 1 / (1 + math.exp(-total))
