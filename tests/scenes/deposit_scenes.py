"""Scenes of steels with deposits, and of ground and brushed ones: ``python -m tests.scenes deposits``.

A scene lies in ``deposits/<id>.jpg`` like any other, and ``<id>-<n>-kinds.png`` holds the truth of every
pixel of a face: an index into `deposits.KINDS`, `OFF_FACE` elsewhere.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.catalogue import PartSpec, Scene
from tests.scenes.deposits import RUST, TRANSFER, VARNISH
from tests.scenes.geometry import Hits, ring_face_mask
from tests.scenes.look import Look
from tests.scenes.render import PlacedPart, cast
from tests.scenes.shoot import build, shoot, write_whole
from tests.scenes.skin import STEEL, PlateShape

FOLDER, TRAINING_FOLDER = "deposits", "deposit-training"
OFF_FACE = 255
LIGHTS = ("led lamp", "window", "bulb", "tubes")
PARTS = (
    PartSpec(STEEL, 1),
    PartSpec(STEEL, 0, look=Look(deposit=VARNISH, spots=0)),
    PartSpec(STEEL, 0, look=Look(finish="turned", spots=0)),
    PartSpec(STEEL, 0, look=Look(deposit=RUST)),
    PartSpec(STEEL, 1, look=Look(finish="brushed")),
    PartSpec(STEEL, 0, look=Look(deposit=VARNISH, finish="cross hatch", spots=0)),
    PartSpec(STEEL, 0, look=Look(deposit=TRANSFER)),
    PartSpec(STEEL, 1, look=Look(deposit=VARNISH)),
    PartSpec(STEEL, 0, look=Look(finish="brushed", spots=0)),
    PartSpec(STEEL, 2, look=Look(deposit=RUST)),
    PartSpec(STEEL, 1, look=Look(finish="turned", spots=1)),
    PartSpec(STEEL, 3, look=Look(deposit=VARNISH, spots=0)),
    PartSpec(STEEL, 2),
    PartSpec(STEEL, 1, look=Look(deposit=TRANSFER)),
)
# For training alone: every heat level, with and without something on it.
MORE_PARTS = (
    PartSpec(STEEL, 3),
    PartSpec(STEEL, 0, look=Look(deposit=VARNISH)),
    PartSpec(STEEL, 4),
    PartSpec(STEEL, 1, look=Look(deposit=VARNISH, finish="turned")),
    PartSpec(STEEL, 2, look=Look(finish="brushed")),
    PartSpec(STEEL, 3, look=Look(deposit=RUST)),
    PartSpec(STEEL, 1),
    PartSpec(STEEL, 2, look=Look(deposit=VARNISH)),
    PartSpec(STEEL, 4, look=Look(deposit=TRANSFER)),
    PartSpec(STEEL, 0, look=Look(deposit=RUST, finish="brushed")),
    PartSpec(STEEL, 3, look=Look(spots=5)),
    PartSpec(STEEL, 0, look=Look(deposit=TRANSFER)),
    PartSpec(STEEL, 0),
    PartSpec(STEEL, 4, look=Look(deposit=VARNISH)),
    PartSpec(STEEL, 1, look=Look(deposit=RUST)),
    PartSpec(STEEL, 2),
    PartSpec(STEEL, 1, look=Look(deposit=TRANSFER, finish="cross hatch")),
    PartSpec(STEEL, 0, look=Look(deposit=VARNISH, finish="brushed")),
)
TUNED_BENCHES, OTHER_BENCHES = ("wood", "cardboard", "rubber mat"), ("concrete", "painted board")


def deposit_scenes(count: int = 42) -> tuple[Scene, ...]:
    """Two steels each, every third scene for measuring only."""
    return tuple(_scene(f"d{n:03d}", 60, n, 17000 + n, n % 3 != 2, PARTS) for n in range(count))


def training_scenes(count: int = 57) -> tuple[Scene, ...]:
    """Two steels each, all tuned: what `tests.training.deposits` fits to beside the tuned ones above."""
    return tuple(_scene(f"e{n:03d}", 61, n, 18000 + n, True, MORE_PARTS) for n in range(count))


def _scene(name: str, stream: int, n: int, seed: int, tuned: bool, parts: tuple[PartSpec, ...]) -> Scene:
    rng = np.random.default_rng([20261128, stream, n])
    benches = TUNED_BENCHES if tuned else OTHER_BENCHES
    return Scene(
        id=name,
        seed=seed,
        tuned=tuned,
        bench=benches[n % len(benches)],
        light=LIGHTS[n % len(LIGHTS)],
        layout="row",
        parts=(parts[2 * n % len(parts)], parts[(2 * n + 1) % len(parts)]),
        shape_seed=seed + 500,
        slant_deg=float(rng.uniform(0, 25)),
        neutral=None if n % 5 == 4 else "white paper",
        fill=0.9,
        size=(1200, 900),
        orientation=1,
        wide_gamut=False,
    )


def kinds_in_photo(placed: PlacedPart, hits: Hits, face: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Index into `KINDS` of every pixel of a face in the photo, `OFF_FACE` elsewhere."""
    skin = placed.skin
    assert skin.kinds is not None
    local = placed.pose.undo(hits.point[face].astype(float))
    rows, columns = skin.kinds.shape
    column = ((local[:, 0] / skin.half_mm[0] + 1) * columns / 2 - 0.5).round().astype(int)
    row = ((-local[:, 1] / skin.half_mm[1] + 1) * rows / 2 - 0.5).round().astype(int)
    out = np.full(face.shape, OFF_FACE, np.uint8)
    out[face] = skin.kinds[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
    return out


def make_deposits(folder: Path, scenes: Sequence[Scene], samples: int, variant: str, again: bool) -> None:
    """Make the scenes that are not there yet, one after the other."""
    for scene in scenes:
        if not again and (folder / f"{scene.id}.json").exists():
            continue
        built = build(scene)
        hits = cast(built.stage, variant)
        folder.mkdir(parents=True, exist_ok=True)
        for k, placed in enumerate(built.stage.parts, start=1):
            shape, pose = placed.shape, placed.pose
            assert isinstance(shape, PlateShape)
            face = ring_face_mask(hits, k - 1, pose, shape.inner_r, shape.outer_r, shape.thickness_mm)
            kinds = cv2.imencode(".png", kinds_in_photo(placed, hits, face))[1].tobytes()
            write_whole(folder / f"{scene.id}-{k}-kinds.png", kinds)
        shoot(scene, folder, samples=samples, variant=variant, keep_linear=False)
        print(scene.id, file=sys.stderr, flush=True)
