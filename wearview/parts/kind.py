"""Friction plate, steel plate or reaction plate: what a face and its edges say."""

import math

import numpy as np
from numpy.typing import NDArray

from wearview.parts.candidate import Plate
from wearview.parts.rims import ANGLES
from wearview.parts.stack import Visible
from wearview.parts.teeth import inner_part
from wearview.terms import FRICTION, REACTION, STEEL


def kind_features(visible: Visible) -> dict[str, float]:
    """Numbers that tell kinds apart, all from the plate's rays.

    Returns
    -------
    dict
        "inner_teeth" 0 or 1; "core_ring" 0 or 1; "teeth_contrast" colour difference between the face and the teeth over
        their brightness; "lay" how much more the face changes along the radius than round the plate, 0 isotropic;
        "blue" share of the face that is bluish against the teeth; "chroma" median colourfulness of the face against the
        teeth; "rough" fine contrast of the face over its brightness; "wall" height of the wall seen beyond the near
        rim, over the outer radius.
    """
    plate = visible.plate
    rays = plate.rays
    open_ = ~plate.hidden
    low, high = rays.column(plate.ratio + 0.012), rays.column(0.988)
    face = rays.rgb[open_, low:high]
    metal = _metal_colour(plate)
    grey = face.mean(axis=2)
    level = float(np.median(grey)) + 1e-3
    along_radius = float(np.median(np.abs(np.diff(grey, axis=1))))
    round_plate = float(np.median(np.abs(np.diff(grey, axis=0))))
    colour = np.median(face.reshape(-1, 3), axis=0)
    # Against the plate's own steel, whose white balance is that of the face.
    tint = colour / max(1.0, colour.mean()) - metal / max(1.0, metal.mean())
    bluish = face[..., 2] / np.maximum(face.mean(axis=2), 1) - metal[2] / max(1.0, metal.mean())
    return {
        "inner_teeth": float(plate.inside.count > 0),
        "core_ring": float(plate.core_ring),
        "teeth_contrast": float(np.abs(colour - metal).max() / max(20.0, metal.mean())),
        "lay": math.log((along_radius + 0.5) / (round_plate + 0.5)),
        "blue": float((bluish > 0.06).mean()),
        "chroma": float(np.abs(tint).max()),
        "rough": float(np.median(np.abs(grey - np.median(grey, axis=1, keepdims=True)))) / level,
        "bright": float(level / max(1.0, metal.mean())),
        "wall": _wall(plate),
        "rim_on_teeth": _rim_on_teeth(plate),
        "rim_seen": plate.outer.coverage if plate.outside.count else plate.inner.coverage,
    }


def _metal_colour(plate: Plate) -> NDArray[np.float64]:
    """Median colour of the teeth, their edges and tips left out."""
    rays = plate.rays
    teeth, rim = (plate.outside, 1.0) if plate.outside.count else (plate.inside, plate.ratio)
    if not teeth.count:
        return np.asarray(np.median(rays.rgb.reshape(-1, 3), axis=0), float)
    middle = inner_part(teeth.solid & ~plate.hidden, max(1, round(0.15 * ANGLES / teeth.count)))
    a, b = sorted((rays.column(rim + 0.4 * (teeth.tip - rim)), rays.column(rim + 0.75 * (teeth.tip - rim))))
    return np.asarray(np.median(rays.rgb[middle, a : b + 1].reshape(-1, 3), axis=0), float)


def _rim_on_teeth(plate: Plate) -> float:
    """Step at the rim where teeth grow from it, over the step where there are none; a lining ends there, a steel goes on."""
    teeth, rim = (plate.outside, 1.0) if plate.outside.count else (plate.inside, plate.ratio)
    if not teeth.count:
        return 1.0
    at = plate.rays.column(rim)
    step = plate.rays.step[:, max(0, at - 2) : at + 3].max(axis=1)
    on, off = step[teeth.solid & ~plate.hidden], step[~teeth.solid & ~plate.hidden]
    return float(np.median(on) / (np.median(off) + 4)) if on.size and off.size else 1.0


def _wall(plate: Plate) -> float:
    """Height of the side wall that a slanted view shows, over the outer radius; 0 when none is told from shadow."""
    rays = plate.rays
    start = rays.column(max(1.0, plate.outside.root) + 0.02)
    end = rays.column(1.24)
    if end - start < 6:
        return 0.0
    profile = np.median(rays.step[:, start:end][plate.outer.seen & ~plate.hidden], axis=0)
    if profile.size == 0 or not np.isfinite(profile).all():
        return 0.0
    strongest = int(profile.argmax())
    return float(rays.rho[start + strongest] - 1) if profile[strongest] > 10 else 0.0


def judge_kind(features: dict[str, float]) -> tuple[str, float]:
    """Kind of a plate and the confidence in it, 0..1."""
    friction = (
        1.6 * (2 * features["inner_teeth"] - 1)
        + 2.0 * features["core_ring"]
        + 1.5 * min(features["teeth_contrast"], 1.0)
        + 3.0 * min(features["chroma"], 0.4)
        - 4.0 * features["blue"]
        - 1.5 * features["lay"]
        - 0.4
    )
    chance = 1 / (1 + math.exp(-friction))
    if chance >= 0.5:
        return FRICTION, chance
    return (REACTION if features["wall"] > 0.07 else STEEL), 1 - chance
