"""Make pictures to train on: ``python -m tests.training.parts.make --out DIR --count 2000 --jobs 16``."""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

import cv2
import drjit
import numpy as np
from numpy.typing import NDArray

from tests.scenes.camera import develop, varied_phone
from tests.scenes.facts import EDGE_ON_DEG
from tests.scenes.geometry import Pinhole
from tests.scenes.render import VARIANT, PlacedPart
from tests.scenes.skin import FRICTION, PlateShape
from tests.training.parts.compose import Composition, compose
from tests.training.parts.gbuffer import Seen, shade, trace
from tests.training.parts.labels import (
    BAND_LINING,
    BENCH,
    CLUTTER,
    EDGE_VIEW,
    HOLE,
    LINING,
    SHEET,
    SIZE,
    STEEL,
)

SEED = 20261128
LEVEL = 0.06  # mm that a pixel of the upper side may lie off its plane


def make_one(index: int, variant: str) -> dict[str, NDArray[np.generic]]:
    """Picture (H, W, 3) uint8 RGB; label (H, W) uint8; part (H, W) uint8, 0 none; centres (parts, 2) px."""
    rng = np.random.default_rng([SEED, index])
    scene = compose(rng)
    seen = trace(scene.surfaces, scene.camera, scene.light.lamps, rng, variant)
    linear = cv2.resize(
        shade(seen, scene.surfaces, scene.camera, scene.light), SIZE, interpolation=cv2.INTER_AREA
    )
    rgb = develop(linear, varied_phone(rng), scene.light.lamps[0].colour, rng)
    quality = int(rng.integers(55, 96))
    coded = cv2.imencode(".jpg", np.ascontiguousarray(rgb[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    rgb = cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1]
    label, part, centres = label_of(scene, seen)
    finer = scene.camera.width / SIZE[0]
    nearest = [cv2.resize(plane, SIZE, interpolation=cv2.INTER_NEAREST) for plane in (label, part)]
    return {
        "rgb": np.ascontiguousarray(rgb),
        "label": nearest[0],
        "part": nearest[1],
        "centres": ((centres + 0.5) / finer - 0.5).astype(np.float32),
    }


def label_of(
    scene: Composition, seen: Seen
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.float64]]:
    """Label and part number (from 1; holes count to their plate) of each pixel, and the parts' centres."""
    label = np.full(seen.surface.shape, BENCH, np.uint8)
    part = np.zeros(seen.surface.shape, np.uint8)
    for k, surface in enumerate(scene.surfaces):
        mine = seen.surface == k
        label[mine] = surface.label
        if surface.owner >= 0:
            part[mine] = surface.owner + 1
    centres = np.zeros((len(scene.parts), 2))
    for n, placed in enumerate(scene.parts):
        top = placed.shape.thickness_mm
        centres[n] = scene.camera.project(placed.pose.apply(np.array([0.0, 0.0, top])))
        mine = part == n + 1
        local = placed.pose.undo(seen.point[mine].astype(float))
        level = np.abs(local[:, 2] - top) < LEVEL
        rows, columns = np.nonzero(mine)
        if isinstance(placed.shape, PlateShape) and _on_edge(scene.camera, placed):
            label[mine] = EDGE_VIEW
        elif isinstance(placed.shape, PlateShape):
            radius = np.hypot(local[:, 0], local[:, 1])
            face = level & (radius >= placed.shape.inner_r) & (radius <= placed.shape.outer_r)
            label[rows[face], columns[face]] = LINING if placed.skin.kind == FRICTION else STEEL
        else:
            label[rows[level], columns[level]] = BAND_LINING
    for n, placed in enumerate(scene.parts):
        if isinstance(placed.shape, PlateShape) and not _on_edge(scene.camera, placed):
            hole = _hole(scene.camera, placed, placed.shape, label.shape)
            free = hole & (part == 0) & np.isin(label, (BENCH, CLUTTER, SHEET))
            label[free & (label == BENCH)] = HOLE
            part[free] = n + 1
    return label, part, centres


def _on_edge(camera: Pinhole, placed: PlacedPart) -> bool:
    """Whether a plate is seen so far from the side, or from below, that nobody could grade its face."""
    away = camera.centre - placed.pose.apply(np.array([0.0, 0.0, placed.shape.thickness_mm]))
    return float(away @ placed.pose.rotation[:, 2] / np.linalg.norm(away)) < np.cos(np.radians(EDGE_ON_DEG))


def _hole(camera: Pinhole, placed: PlacedPart, shape: PlateShape, size: tuple[int, ...]) -> NDArray[np.bool_]:
    """Pixels inside the circle through the roots of the inner edge."""
    turn = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    rim = np.c_[
        shape.core_inner_r * np.cos(turn), shape.core_inner_r * np.sin(turn), np.full(96, shape.thickness_mm)
    ]
    xy = camera.project(placed.pose.apply(rim))
    mask = np.zeros(size, np.uint8)
    if np.abs(xy).max() < 1e5:
        cv2.fillPoly(mask, [np.round(xy).astype(np.int32)], 1)
    return mask > 0


def write_one(out: Path, index: int, variant: str) -> str:
    """Make a picture into ``out`` on one core; what went wrong, or nothing."""
    cv2.setNumThreads(1)
    drjit.set_thread_count(1)
    try:
        made = make_one(index, variant)
    except (RuntimeError, ValueError, IndexError, np.linalg.LinAlgError) as problem:
        return f"{index}: {type(problem).__name__}: {problem}"  # a camera under the bench, a horizon in view
    with open(out / f"{index:05d}.part", "wb") as file:
        np.savez(file, **made)
    (out / f"{index:05d}.part").rename(out / f"{index:05d}.npz")
    return ""


def main() -> int:
    """Make ``--count`` pictures, or as many as ``--seconds`` allow."""
    parser = argparse.ArgumentParser(prog="python -m tests.training.parts.make", description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=np.inf)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--variant", default=VARIANT)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    start, made, failed = time.perf_counter(), 0, 0
    wanted = range(options.first, options.first + options.count)
    with ProcessPoolExecutor(options.jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        for future in as_completed([pool.submit(write_one, options.out, k, options.variant) for k in wanted]):
            problem = future.result() if not future.cancelled() else ""
            made, failed = made + (not problem), failed + bool(problem)
            if problem:
                print(problem, file=sys.stderr, flush=True)
            if time.perf_counter() - start > options.seconds:
                pool.shutdown(wait=False, cancel_futures=True)
                break
    print(f"{made} pictures, {failed} failed, {time.perf_counter() - start:.0f} s", file=sys.stderr)
    return 0 if made > 9 * failed else 1


if __name__ == "__main__":
    sys.exit(main())
