"""Lining or bare metal: what a rectified face says, beside what its teeth say."""

import math

import numpy as np
from numpy.typing import NDArray

from wearview.parts import Part
from wearview.settings import Settings
from wearview.surface import Rectified

USUAL_STEEL = (60.0, 0.0, 4.0)  # Lab of teeth where none can be measured


def material_features(rectified: Rectified, part: Part) -> dict[str, float]:
    """Numbers that tell lining from steel.

    Returns
    -------
    dict
        "inner_teeth": 1 for teeth on the inner edge, as most friction plates have. "chroma", "darker",
        "lighter": the median colour, and its lightness against the teeth's. "spread_l", "spread_b",
        "spread_a": 10th to 90th percentile; oxide runs through many hues, lining through one. "even":
        colourful without a spread, as a lining is. "blue": share of bluish pixels. "hue": distance of a*, b*
        from the teeth's. "groove": share of thin marks. "sheen": how far the brightest part stands out
        broadly. "rough", "lay": from `parts.kind`. Scaled to about 0..2.
    """
    whole = rectified.whole
    marks = rectified.marks()
    seen = whole & ~rectified.clipped & ~marks["groove"] & ~marks["ink"]
    lab = rectified.lab[seen] if seen.sum() > 200 else rectified.lab[whole]
    low, middle, high = np.quantile(lab, [0.1, 0.5, 0.9], axis=0) if len(lab) else np.zeros((3, 3))
    spread: NDArray[np.float64] = high - low
    teeth = rectified.metal_lab if np.isfinite(rectified.metal_lab).all() else np.array(USUAL_STEEL)
    chroma = float(np.hypot(middle[1], middle[2]))
    return {
        "inner_teeth": part.evidence.get("inner_teeth", 0.0),
        "chroma": min(chroma, 30) / 10,
        "darker": max(0.0, float(teeth[0] - middle[0])) / 20,
        "lighter": max(0.0, float(middle[0] - teeth[0])) / 20,
        "spread_l": min(float(spread[0]), 40) / 20,
        "spread_b": min(float(spread[2]), 30) / 10,
        "spread_a": min(float(spread[1]), 15) / 5,
        "even": chroma / 10 * math.exp(-float(spread[2]) / 6),
        "blue": float((lab[:, 2] < -5).mean()) if len(lab) else 0.0,
        "hue": min(float(np.hypot(*(middle - teeth)[1:])), 30) / 10,
        "groove": 5 * float((marks["groove"] & whole).sum() / max(1, whole.sum())),
        "rough": 10 * min(part.evidence.get("rough", 0.0), 0.2),
        "lay": part.evidence.get("lay", 0.0),
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
