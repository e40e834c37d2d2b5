"""Lining or bare metal: what a rectified face says, beside what its teeth and its neighbours say."""

import math
from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts import Part
from wearview.ranks import median, middle, quantile
from wearview.settings import Settings
from wearview.surface import GRID, Rectified
from wearview.terms import FRICTION, STEEL

FEW = 200  # pixels that a share or a contrast rests on at least
SAMPLE, RAYS = 8000, 300  # pixels of a face, and directions, that stand for all
USUAL_STEEL = (60.0, 0.0, 4.0)  # Lab of teeth where none can be measured
ROUND = 1024  # places round the unrolled plate: a grid pixel at two thirds of the outer radius
# Of the outer radius: how far the unrolled plate reaches beyond the face, where a lining's core shows as a
# lip, and how far a rim reaches inwards. A core stands out by 0.3 to 1.5 mm (common practice, no source).
BEYOND_INNER, BEYOND_OUTER, RIM, MARGIN = 0.06, 0.026, 0.045, 0.012
NOISE_FLOOR = 0.2  # per cent of L* + 16, so that the logarithm of a smooth face stays finite
# Grid pixels: fibres and grinding marks; flocks of fibres; heat and light.
FINE, COARSE, BROAD = 0.7, 1.5, 8.0
BLACK, BLACK_SHARE = 22.0, 0.4  # L*, and share of the teeth's: char or black lining, darker than any oxide
# Of a mark against the face in per cent of L* + 16; round the plate: fewest and most grooves looked for, and
# the neighbours in the spectrum that a groove's peak stands out from.
DEEPEST, FEWEST, MOST, NEIGHBOURS = 15.0, 8, 80, 25
# Log odds of the others in the photo. In a pack the plates toothed on one edge are of one kind, those toothed
# on the other of the other (common practice, no source); on tuned scenes 0.8 to 1.4 are alike, 0.98 right.
SAME_EDGE, OTHER_EDGE, FIRM = 1.2, 0.6, 6.0

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
        "inner_teeth": 1 for teeth on the inner edge, as most friction plates have. "lining_seen": log odds of
        lining by what the part network sees. "spread_b": 10th to 90th percentile of b*; oxide runs through
        many hues, lining through one. "one_hue": how colourful, for how little the hue runs.
        "purple", "as_teeth": shares more purple than, and just like the part's own teeth. "black": share
        darker than any oxide. "grain", "flocks": log contrast of the texture round the plate, fine and
        coarse; fibres lie every way, turned steel is smooth round the plate. "flecks": how far the strongest
        stand out. "root_step", "root_gap": natural log of the light beside the teeth over that of the teeth,
        and without its sign; steel and its teeth are one piece. "lip": how far from the colour of the teeth
        the lip beyond the edge without teeth is, where a lining's core stands out. "spokes", "pitch": how far
        grooves at equal steps stand out, radial ones and any. All but the logarithms scaled to about 0..3.
    """
    whole, marks = rectified.whole, rectified.marks
    lit = whole & ~rectified.clipped & ~marks["ink"]
    teeth = rectified.metal_lab if np.isfinite(rectified.metal_lab).all() else np.array(USUAL_STEEL)
    inner_teeth = part.evidence.get("inner_teeth", 0.0)
    at, rho, ratio = _unrolled_grid(part)
    shown, measured = (_unrolled(mask, at) for mask in (whole, lit & ~marks["groove"]))
    unrolled = cv2.remap(rectified.lab, *at, cv2.INTER_LINEAR)
    root = np.asarray(100 * np.log(np.maximum(unrolled[..., 0] + 16, 1)), np.float32)
    fine = _smooth(root, shown, FINE)
    return {
        "inner_teeth": inner_teeth,
        "lining_seen": part.evidence.get("lining_seen", 0.0),
        **_colour(rectified.lab, whole, lit, marks["groove"], teeth),
        **_texture(fine, _smooth(root, shown, COARSE), measured),
        **_rims(unrolled, shown, rho, ratio, teeth, inner_teeth > 0),
        **_grooves(
            np.where(shown, fine - _smooth(root, shown, BROAD), 0)[(rho > ratio + RIM) & (rho < 1 - RIM)]
        ),
    }


def _colour(lab: Plane, whole: Mask, lit: Mask, groove: Mask, teeth: NDArray[np.float64]) -> dict[str, float]:
    land = np.take(lab.reshape(-1, 3), np.flatnonzero(lit & ~groove), axis=0)
    if len(land) <= FEW:
        land = lab[whole] if whole.any() else np.zeros((1, 3), np.float32)
    land = land[:: 1 + len(land) // SAMPLE]
    low, usual, high = (np.array([quantile(c, share) for c in land.T]) for share in (0.1, 0.5, 0.9))
    chroma = min(float(np.hypot(usual[1], usual[2])), 30) / 10
    spread_b = min(float(high[2] - low[2]), 30) / 10
    red, yellow = land[:, 1] - teeth[1], land[:, 2] - teeth[2]
    return {
        "one_hue": chroma / (1 + 2 * spread_b),
        "spread_b": spread_b,
        "purple": float(((yellow < -3) & (red > 3)).mean()),
        "as_teeth": float(((np.hypot(red, yellow) < 3) & (land[:, 0] > 0.8 * teeth[0])).mean()),
        "black": float((land[:, 0] < min(BLACK, BLACK_SHARE * teeth[0])).mean()),
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


def _texture(fine: Plane, coarse: Plane, measured: Mask) -> dict[str, float]:
    """Log contrast round the plate, in per cent of L* + 16, over about one and two fibres."""
    steps, both = np.abs(np.diff(fine, axis=1)), measured[:, 1:] & measured[:, :-1]
    count = int(np.count_nonzero(both))
    every = 1 + count // SAMPLE
    clear = steps[both][::every] if count > FEW else np.ones(1)
    usual, strong = quantile(clear, 0.5), quantile(clear, 0.95)
    far = measured[:, 2:] & measured[:, :-2]
    far_enough = np.count_nonzero(far) > FEW
    wide = middle(np.abs(coarse[:, 2:] - coarse[:, :-2])[far][::every]) if far_enough else 1.0
    return {
        "grain": math.log(usual + NOISE_FLOOR),
        "flocks": math.log(wide + NOISE_FLOOR),
        "flecks": math.log((strong + NOISE_FLOOR) / (usual + NOISE_FLOOR)),
    }


def _grooves(face: Plane) -> dict[str, float]:
    """How far equal steps round the plate stand out; from the unrolled face, its broad course taken out."""
    face = np.clip(face, -DEEPEST, DEEPEST)
    if not len(face):
        return {"spokes": 0.0, "pitch": 0.0}
    radial = _peaks(np.abs(np.fft.rfft(face.mean(axis=0))) ** 2)
    # Row by row, so that slanted grooves, which lie elsewhere in each, do not cancel.
    any_way = _peaks((np.abs(np.fft.rfft(face, axis=1)) ** 2).mean(axis=0))
    count = np.arange(FEWEST, MOST)
    overtones = sum(np.maximum(any_way[k * count], 0) / 2 ** (k - 1) for k in (2, 3))
    return {
        "spokes": float(radial[FEWEST : MOST + 40].max()),
        "pitch": float((any_way[count] + overtones).max()),
    }


def _peaks(power: NDArray[np.floating]) -> NDArray[np.float64]:
    """Log of a spectrum over the median of its neighbours, on a floor of white noise."""
    floor = ROUND * NOISE_FLOOR**2
    around = np.pad(power, NEIGHBOURS // 2, "symmetric")
    usual = median(np.lib.stride_tricks.sliding_window_view(around, NEIGHBOURS), -1)
    return np.asarray(np.log((power + floor) / (usual + floor)), float)


def _smooth(values: Plane, shown: Mask, sigma: float) -> Plane:
    weight = shown.astype(np.float32)
    total = cv2.GaussianBlur(values * weight, (0, 0), sigma)
    return np.asarray(total / np.maximum(cv2.GaussianBlur(weight, (0, 0), sigma), 1e-3), np.float32)


def _rims(
    lab: Plane,
    shown: Mask,
    rho: NDArray[np.float64],
    ratio: float,
    teeth: NDArray[np.float64],
    inner_teeth: bool,
) -> dict[str, float]:
    """What the face is like beside its teeth, and what stands out beyond the edge without teeth."""
    on_face = (rho > ratio + MARGIN) & (rho < 1 - MARGIN)
    clear = shown[on_face].mean(axis=0) > 0.8
    if clear.sum() < 50:
        clear[:] = True
    usual = median(lab[:, np.flatnonzero(clear)[:: 1 + clear.sum() // RAYS]], 1)
    inner, outer = (rho > ratio + MARGIN) & (rho < ratio + RIM), (rho > 1 - RIM) & (rho < 1 - MARGIN)
    inner_lip, outer_lip = (rho > ratio - 0.022) & (rho < ratio + 0.01), (rho > 0.99) & (rho < 1.02)
    # As a ratio: a light read too bright or too dark by a factor leaves it as it is.
    root = float(np.median(usual[inner if inner_teeth else outer, 0]))
    step = 3 * math.log(max(root + 16, 1) / max(teeth[0] + 16, 1))
    lip = usual[outer_lip if inner_teeth else inner_lip]
    off = lip[lip[:, 0].argmax(), 1:] - teeth[1:]
    return {"root_step": step, "root_gap": abs(step), "lip": min(float(np.hypot(*off)), 20) / 10}


def log_odds(features: dict[str, float], settings: Settings) -> float:
    """Log odds that a face is lining and not bare metal.

    Logistic regression with the weights of `models/material.toml`, fitted by `python -m
    tests.training.material`.
    """
    return settings.material["bias"] + sum(
        settings.material[name] * value for name, value in features.items()
    )


def with_neighbours(own: Sequence[float], inner_teeth: Sequence[bool]) -> list[float]:
    """Log odds of the plates of one photo, each with what the others say for it added.

    Parameters
    ----------
    own : sequence of float
        Log odds of each from its own face.
    inner_teeth : sequence of bool
        Whether its teeth are on the inner edge.
    """
    firm, edge = np.clip(np.array(own, float), -FIRM, FIRM), np.array(inner_teeth, bool)
    out = []
    for k, value in enumerate(own):
        others = np.arange(len(own)) != k
        same, opposite = firm[others & (edge == edge[k])], firm[others & (edge != edge[k])]
        said = SAME_EDGE * same.mean() if same.size else 0.0
        out.append(float(value + said - (OTHER_EDGE * opposite.mean() if opposite.size else 0.0)))
    return out


def settle_kinds(parts: Sequence[Part], rectified: Sequence[Rectified], settings: Settings) -> list[Part]:
    """The parts of one photo, the plates whose kind no person stated with the kind that their faces show."""
    plates = [k for k, part in enumerate(parts) if part.outer is not None]
    features = [material_features(rectified[k], parts[k]) for k in plates]
    own = [
        _stated(parts[k]) if parts[k].kind_confidence == 1 else log_odds(f, settings)
        for k, f in zip(plates, features, strict=True)
    ]
    out = list(parts)
    for k, odds in zip(plates, with_neighbours(own, [f["inner_teeth"] > 0 for f in features]), strict=True):
        if parts[k].kind_confidence < 1:
            chance = 1 / (1 + math.exp(-odds))
            kind = FRICTION if chance >= 0.5 else STEEL
            out[k] = replace(parts[k], kind=kind, kind_confidence=max(chance, 1 - chance))
    return out


def _stated(part: Part) -> float:
    return FIRM if part.kind == FRICTION else -FIRM
