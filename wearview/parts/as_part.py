"""From what was found in the working copy to `Part`: full-size pixels, a kind, what is wrong with it."""

import math

import numpy as np

from wearview.parts.band import Band
from wearview.parts.edge_on import NARROW, EdgeOn
from wearview.parts.kind import kind_features, likely_kind
from wearview.parts.part import Part
from wearview.parts.stack import Visible
from wearview.photo import Photo
from wearview.terms import BAND, FRICTION

MOST_HIDDEN = 0.5  # of the face; the contract grades what is left
# Full-size pixels of the minor axis: a sector of 10 degrees of the usual face then has 115 pixels.
MIN_DIAMETER = 110


def plate_part(visible: Visible, photo: Photo, *, stated: bool) -> Part:
    plate, masks = visible.plate, visible.masks
    features = kind_features(plate)
    kind, confidence = likely_kind(features)
    outer, inner = plate.outer.ellipse, plate.inner.ellipse
    problems = []
    if plate.in_frame < 0.99:
        problems.append("cut off by the frame")
    if visible.hidden_share > MOST_HIDDEN:
        problems.append("covered")
    if outer.minor < NARROW * outer.major:
        problems.append("edge view")
    elif outer.minor * photo.scale < MIN_DIAMETER:
        problems.append("too small")
    return Part(
        kind=kind,
        kind_confidence=confidence,
        outer=outer.scaled(photo.scale),
        inner=inner.scaled(photo.scale),
        spine=None,
        width=math.nan,
        origin=masks.origin,
        part_mask=masks.part,
        face_mask=masks.face,
        metal_mask=masks.metal,
        scale=photo.scale,
        problems=tuple(problems),
        outline_stated=stated,
        evidence=features
        | {
            "teeth": plate.teeth,
            "support": plate.support,
            "lining_seen": 0.0 if plate.seen is None else plate.seen.lining,
        },
    )


def edge_on_part(plate: EdgeOn, photo: Photo) -> Part:
    return Part(
        kind=FRICTION,  # from its edge nobody can tell
        kind_confidence=0.5,
        outer=plate.outline.scaled(photo.scale),
        inner=None,
        spine=None,
        width=math.nan,
        origin=plate.origin,
        part_mask=plate.mask,
        face_mask=np.zeros_like(plate.mask),
        metal_mask=np.zeros_like(plate.mask),
        scale=photo.scale,
        problems=("edge view",),
        evidence={},
    )


def band_part(band: Band, photo: Photo, *, stated: bool) -> Part:
    return Part(
        kind=BAND,
        kind_confidence=band.confidence,
        outer=None,
        inner=None,
        spine=(band.spine + 0.5) * photo.scale - 0.5,
        width=band.width * photo.scale,
        origin=band.origin,
        part_mask=band.part,
        face_mask=band.face,
        metal_mask=band.part & ~band.face,
        scale=photo.scale,
        problems=band.problems,
        outline_stated=stated,
        evidence={},
    )
