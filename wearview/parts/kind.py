"""What a plate's edges and texture say of its kind, before its colour is known; `material` has the last
word."""

import math

import numpy as np

from wearview.parts.candidate import Plate
from wearview.ranks import median, middle
from wearview.terms import FRICTION, STEEL

# Hub splines are cut in friction plates, drum lugs on steels; packs the other way round exist (common
# practice, no source).
USUAL_SIDE = 0.75


def kind_features(plate: Plate) -> dict[str, float]:
    """Numbers that tell kinds apart without knowing the light.

    Returns
    -------
    dict
        "inner_teeth": 1 when the teeth are on the inner edge, else 0. "lay": log of how much more the face
        changes along the radius than round the plate; 0 is isotropic. "rough": contrast along the radius over
        brightness.
    """
    rays = plate.rays
    low, high = rays.column(plate.ratio + 0.012), rays.column(0.988)
    face = rays.grey[:, low:high]
    grey = face[~plate.hidden] if not plate.hidden.all() else face
    along_radius = middle(np.abs(np.diff(grey, axis=1)))
    round_plate = middle(np.abs(np.diff(grey, axis=0)))
    level = middle(grey) + 1e-3
    return {
        "inner_teeth": float(plate.inside.count > 0),
        "lay": math.log((along_radius + 0.5) / (round_plate + 0.5)),
        "rough": middle(np.abs(grey - median(grey, 1)[:, None])) / level,
    }


def likely_kind(features: dict[str, float]) -> tuple[str, float]:
    """Friction or steel plate by the side of its teeth alone, and the confidence in it, 0..1."""
    return (FRICTION if features["inner_teeth"] else STEEL), USUAL_SIDE
