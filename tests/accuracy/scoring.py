"""Scenes on disk, graded through the public pipeline and set beside their truth."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.accuracy.overlap import (
    BOUNDARY_TOLERANCE,
    MATCHED,
    Mask,
    axis_end_error,
    boundary_f,
    iou,
    match,
    share_on,
)
from wearview.draw import part_masks
from wearview.errors import CleanReferenceError
from wearview.pipeline import grade_photos
from wearview.record import Graded, build_document, validate
from wearview.settings import Settings

Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Overlap:
    """How well a found part lies on the true one. Axis ends are in true major axes; None for a band."""

    part_iou: float
    face_iou: float
    part_boundary_f: float
    face_boundary_f: float
    outer_axis_end: float | None
    inner_axis_end: float | None


@dataclass(frozen=True, slots=True)
class Pair:
    """A true part that had to be found, and the document's part that was matched to it, or None."""

    truth: Json
    seen: Json | None
    overlap: Overlap | None


@dataclass(frozen=True, slots=True)
class Scored:
    """One scene graded.

    Attributes
    ----------
    scene : mapping
        The truth document.
    photo : mapping
        The photo's entry in the grading document.
    pairs : tuple of Pair
    clutter : int
        Findings that lie on no part.
    misfits : int
        Findings on a part, at IoU under 0.5 or one too many.
    reference_refused : bool
        The clean photo was refused; the scene was graded without it.
    """

    scene: Json
    photo: Json
    pairs: tuple[Pair, ...]
    clutter: int
    misfits: int
    reference_refused: bool


def read_scenes(folder: Path) -> Iterator[Json]:
    """Truth documents of a folder whose clean photos are there too; clean photos themselves are left out."""
    for path in sorted(folder.glob("*.json")):
        scene = json.loads(path.read_text("utf-8"))
        reference = scene["reference"]
        if not scene["is_reference"] and (reference is None or (folder / reference).exists()):
            yield scene


def score_scene(folder: Path, scene: Json, settings: Settings) -> Scored:
    """Grade one scene as one call and match what was found to what is there."""
    graded, refused = grade_scene(folder, scene, settings)
    document = build_document(graded, settings)
    validate(document)
    photo = document["photos"][0]
    found = [(part > 127, face > 127) for part, face in part_masks(graded.photos[0])]
    truth = [
        (read_mask(folder / part["part_mask"]), read_mask(folder / part["face_mask"]))
        for part in scene["parts"]
    ]
    matching = match(
        [part for part, _ in found],
        [part["kind_confidence"] for part in photo["parts"]],
        [part for part, _ in truth],
        [part["gradeable"] for part in scene["parts"]],
    )
    tolerance = BOUNDARY_TOLERANCE * float(np.hypot(scene["width"], scene["height"]))
    pairs = [
        Pair(
            scene["parts"][k],
            photo["parts"][i],
            _overlap(photo["parts"][i], found[i], scene["parts"][k], truth[k], tolerance),
        )
        for i, k in matching.pairs
    ]
    pairs += [Pair(scene["parts"][k], None, None) for k in matching.missed]
    anything = np.logical_or.reduce([part for part, _ in truth]) if truth else None
    clutter = sum(anything is None or share_on(found[i][0], anything) < MATCHED for i in matching.extra)
    return Scored(scene, photo, tuple(pairs), clutter, len(matching.extra) - clutter, refused)


def grade_scene(folder: Path, scene: Json, settings: Settings) -> tuple[Graded, bool]:
    """One scene graded as one call, without its clean photo where that is refused, which is said."""
    files = [str(folder / scene["photo"])]
    reference = str(folder / scene["reference"]) if scene["reference"] else None
    try:
        return grade_photos(files, settings, reference=reference, apply_end=scene["apply_end"]), False
    except CleanReferenceError:
        return grade_photos(files, settings, apply_end=scene["apply_end"]), True


def read_mask(path: Path) -> Mask:
    """A mask written as 0 or 255."""
    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        raise FileNotFoundError(path)
    return np.asarray(grey > 127)


def _overlap(
    seen: Json, found: tuple[Mask, Mask], part: Json, truth: tuple[Mask, Mask], tolerance: float
) -> Overlap:
    ends = {
        edge: None
        if part[edge] is None or seen["outline"][edge] is None
        else axis_end_error(seen["outline"][edge], part[edge])
        for edge in ("outer", "inner")
    }
    return Overlap(
        iou(found[0], truth[0]),
        iou(found[1], truth[1]),
        boundary_f(found[0], truth[0], tolerance),
        boundary_f(found[1], truth[1], tolerance),
        ends["outer"],
        ends["inner"],
    )
