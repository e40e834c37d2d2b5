"""The package and its peer on one 12-megapixel photo of known truth, in one run."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from tests.accuracy.overlap import Mask, iou
from tests.accuracy.scoring import read_mask
from tests.benchmarks.peer import differences
from tests.benchmarks.photos import WIDTH, enlarge
from wearview.draw import part_masks
from wearview.pipeline import grade_photos
from wearview.settings import load_settings

SCENE = "s012"  # of the ten that the tests render: one friction plate, heat-marked, with a grey card
FOUND = 0.5  # IoU of faces


def beside_peer(scenes: Path, folder: Path) -> Iterator[str]:
    """Times and errors of both, as lines."""
    truth_file = scenes / f"{SCENE}.json"
    if not truth_file.is_file():
        yield f"peer: no scene {SCENE} in {scenes}; the tests put it there, or say --scenes"
        return
    truth = json.loads(truth_file.read_text("utf-8"))
    photo = enlarge(scenes / truth["photo"], folder / "photo.jpg")
    clean = enlarge(scenes / truth["reference"], folder / "clean.jpg")
    [part] = truth["parts"]
    face, true = _enlarged(read_mask(scenes / part["face_mask"])), part["truth"]["delta_e00_median"]
    yield f"one plate of known truth, Delta E {true:.1f}, with its clean photo, both {WIDTH} wide"

    start = time.perf_counter()
    graded = grade_photos([str(photo)], load_settings(), reference=str(clean)).photos[0]
    seconds = time.perf_counter() - start
    masks = [found > 0 for _, found in part_masks(graded)]
    values = [p.lining.delta_e00_median.value if p.lining else np.nan for p in graded.parts]
    yield _line("wearview", seconds, masks, values, face, true)

    start = time.perf_counter()
    found = differences(photo, clean)
    seconds = time.perf_counter() - start
    yield _line("scikit-image", seconds, [ring.face for ring, _ in found], [v for _, v in found], face, true)


def _line(name: str, seconds: float, masks: list[Mask], values: list[float], face: Mask, true: float) -> str:
    overlaps = [iou(mask, face) for mask in masks]
    best = int(np.argmax(overlaps)) if overlaps else 0
    if not overlaps or overlaps[best] < FOUND:
        return f"  {name:14}{seconds:7.2f} s   the plate was not found"
    extra = sum(overlap < FOUND for overlap in overlaps)
    return (
        f"  {name:14}{seconds:7.2f} s   face IoU {overlaps[best]:.3f}, Delta E off by "
        f"{abs(values[best] - true):.1f}, {extra} things taken for a plate that are none"
    )


def _enlarged(mask: Mask) -> Mask:
    height = round(mask.shape[0] * WIDTH / mask.shape[1])
    return np.asarray(cv2.resize(mask.astype(np.uint8), (WIDTH, height), interpolation=cv2.INTER_LINEAR) > 0)
