"""What is true about a photo, as the JSON document and the masks that lie beside it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes import geometry, piles
from tests.scenes.catalogue import Scene
from tests.scenes.geometry import Array, Pinhole
from tests.scenes.render import PlacedPart, Stage
from tests.scenes.skin import PlateShape

MOST_HIDDEN = 0.5  # contract: "covered" is a part of whose face less is in view
EDGE_ON_DEG = 65.0  # between a face's normal and the view of it: four tenths of its width are left
WHOLLY_SEEN = 0.985  # share of the face in view from which on its truth is that of the whole face


@dataclass(frozen=True, slots=True, eq=False)
class Built:
    """A scene ready to be photographed."""

    scene: Scene
    stage: Stage
    clutter: tuple[tuple[str, Array], ...]  # name and bench position
    equivalent_35mm: int


def truth_of(built: Built, hits: geometry.Hits) -> tuple[dict[str, Any], dict[str, NDArray[np.bool_]]]:
    """The truth document and the masks, named by the part's number and "part" or "face"."""
    scene, view = built.scene, built.stage.camera
    masks: dict[str, NDArray[np.bool_]] = {}
    parts = []
    for k, (spec, placed) in enumerate(zip(scene.parts, built.stage.parts, strict=True)):
        shape, pose = placed.shape, placed.pose
        top = shape.thickness_mm
        entry: dict[str, Any] = {"id": f"{scene.id}-{k + 1}", "kind": spec.kind, "position": k + 1}
        if isinstance(shape, PlateShape):
            face = geometry.ring_face_mask(hits, k, pose, shape.inner_r, shape.outer_r, top)
            rings = [geometry.projected_circle(view, pose, r, top) for r in (shape.outer_r, shape.inner_r)]
            entry |= {"outer": asdict(rings[0]), "inner": asdict(rings[1])}
            whole = np.pi / 4 * (rings[0].major * rings[0].minor - rings[1].major * rings[1].minor)
        else:
            face = geometry.level_mask(hits, k, pose, top)
            entry |= {"outer": None, "inner": None}
            whole = float(face.sum())
        masks[f"{k + 1}-part"], masks[f"{k + 1}-face"] = geometry.part_mask(hits, k), face
        share = float(face.sum()) / max(whole, 1.0)
        why_not = _not_gradeable(view, pose, top, share) if scene.layout in piles.LAYOUTS else None
        axis = view.project(pose.apply(np.array([[0, 0, top], [1.0, 0, top]])))
        turn = np.degrees(np.arctan2(*(axis[1] - axis[0])[::-1])) % 360
        entry |= {
            "part_mask": f"{scene.id}-{k + 1}-part.png",
            "face_mask": f"{scene.id}-{k + 1}-face.png",
            "face_visible": round(min(1.0, share), 4),
            "mm_per_px": round(1 / (view.focal_px / float(np.linalg.norm(pose.shift - view.centre))), 5),
            "angle_offset_deg": round(float(turn), 2),  # add to an angle of `truth` to get it in the image
            "gradeable": scene.gradeable and why_not is None,
            "reason": why_not,
            "truth": _in_view(view, placed, masks[f"{k + 1}-face"], whole)
            if scene.gradeable and why_not is None
            else placed.skin.truth,
            "lining": spec.lining,
        }
        parts.append(entry)
    document = {
        "id": scene.id,
        "photo": f"{scene.id}.jpg",
        "width": view.width,
        "height": view.height,
        "tuned": scene.tuned,
        "neutral_in_view": scene.neutral is not None,
        "neutral": scene.neutral,
        "gradeable": scene.gradeable,
        "reason": scene.defect,
        "reference": f"{scene.reference}.jpg" if scene.reference else None,
        "is_reference": scene.clean,
        "apply_end": scene.apply_end,
        "group": None,
        "bench": scene.bench,
        "light": scene.light,
        "layout": scene.layout,
        "slant_deg": round(scene.slant_deg, 2),
        "shadow_edge": scene.shadow_edge,
        "equivalent_35mm": built.equivalent_35mm,
        "parts": parts,
        "clutter": [
            {"name": name, "x": round(float(x), 1), "y": round(float(y), 1)}
            for name, (x, y) in ((name, view.project(at)) for name, at in built.clutter)
        ],
    }
    return document, masks


def _not_gradeable(view: Pinhole, pose: geometry.Pose, top: float, share: float) -> str | None:
    """Why a part in a pile cannot be graded, in the words of the quality gate."""
    middle = pose.apply(np.array([0.0, 0.0, top]))
    away = (view.centre - middle) / np.linalg.norm(view.centre - middle)
    slant = float(np.degrees(np.arccos(np.clip(abs(away @ pose.rotation[:, 2]), 0, 1))))
    if slant > EDGE_ON_DEG:
        return "edge view"
    return "covered" if share < 1 - MOST_HIDDEN else None


def _in_view(view: Pinhole, placed: PlacedPart, face: NDArray[np.bool_], whole_px: float) -> dict[str, Any]:
    """Readings of what can be seen of the face; of all of it where nothing hides any."""
    skin, shape = placed.skin, placed.shape
    if skin.read is None or not isinstance(shape, PlateShape) or face.sum() > WHOLLY_SEEN * whole_px:
        return skin.truth
    rows, columns = skin.height.shape
    x = ((np.arange(columns) + 0.5) * 2 / columns - 1) * skin.half_mm[0]
    y = ((np.arange(rows) + 0.5) * 2 / rows - 1) * skin.half_mm[1]
    map_xy = np.stack(np.meshgrid(x, -y), axis=-1)  # a skin's y points down
    near = cv2.dilate(face.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0  # the face's own rim stays in
    seen = geometry.seen_in_map(view, placed.pose, near, map_xy, shape.thickness_mm)
    return skin.truth | skin.read(seen)
