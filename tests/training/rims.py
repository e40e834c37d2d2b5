"""Fit the weights of `models/rims-1.toml`: `python -m tests.training.rims --scenes DIR... --out FILE`.

Each tuned scene's plates are found as the program finds them, before their rims are made finer. From those
rims, and from true rims changed a little by chance, rays are read; which of their places are face is the
truth. Whatever lies over a rim stays in, so that the weights learn to be unsure of it. The printed figures
are cross-validated with whole scenes left out.
"""

import argparse
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.training.networks import Layers, fit_layers, folds_of, written
from wearview.network import answers
from wearview.parts.find import rough_plates, smoothed
from wearview.parts.finer import (
    FROM_RIM,
    MIDDLE,
    PLACES,
    SECTORS,
    SIDES,
    Face,
    changed,
    face_of,
    rays_of,
    rim_readings,
)
from wearview.parts.learned import look
from wearview.parts.part import Ellipse
from wearview.photo import read_photo

HIDDEN = (48,)  # units; two layers of 32 and 24 do no better
FOLDS = 3
SEED = 1
CHANGED = 3  # times that true rims are changed by chance
SPREAD = np.array([1.2, 0.8, 0.8, 0.3, 0.3])  # of such changes; of a hundredth of the radius, or of a pixel
SAME_CENTRE, SAME_SIZE = 0.06, 0.12  # of a true plate, of its major axis
FAR = PLACES / 2  # steps: a rim that no place of a ray reaches says nothing
HEAD = """\
# Weights that say which places beside a rim are face (wearview/parts/finer.py).
# Made by: python -m tests.training.rims --scenes DIR... --out FILE, on the tuned rendered scenes only (no
# real plate was measured)."""


@dataclass(frozen=True, slots=True, eq=False)
class Sectors:
    """Both rims of one plate from one start: readings (n, 2 x SECTORS), how many steps away from the face the
    true rims lie, whether that counts; the scene, and whether the start is what was found."""

    readings: NDArray[np.float16]
    off: NDArray[np.float64]
    counts: NDArray[np.bool_]
    scene: str
    found: bool


def main() -> None:
    """Write the file and print how far off the cross-validated ends of faces are."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    rng = np.random.default_rng(SEED)
    plates = [read for folder in options.scenes for read in _plates(folder, rng)]
    fold = folds_of((read.scene for read in plates), rng, FOLDS)
    before, after = [], []
    for left_out in range(FOLDS):
        layers = _fit([read for read in plates if fold[read.scene] != left_out])
        for read in plates:
            if read.found and fold[read.scene] == left_out:
                before.append(np.abs(read.off)[read.counts])
                after.append(np.abs(_ends(layers, read) - read.off)[read.counts])
    shares = ", ".join(f"{np.mean(np.concatenate(part) < 1):.3f}" for part in (before, after))
    report = f"# {len(after)} plates of {len(fold)} scenes; sectors off by less than a step as found, and by"
    report += f" these with scenes left out: {shares}."
    print(report)
    options.out.write_text("\n".join([HEAD, report, *written(_fit(plates))]) + "\n", "utf-8")


def _fit(plates: list[Sectors]) -> Layers:
    """Weights and biases of each layer, for readings as they come."""
    values = np.concatenate([read.readings[:, read.counts].T for read in plates]).astype(np.float32)
    off = np.concatenate([read.off[read.counts] for read in plates])
    return fit_layers(
        values,
        off[:, None] > FROM_RIM,
        HIDDEN,
        alpha=1e-3,
        batch_size=1024,
        max_iter=12,
        learning_rate_init=2e-3,
        random_state=SEED,
    )


def _ends(layers: Layers, read: Sectors) -> NDArray[np.float64]:
    odds = answers(layers, read.readings.astype(np.float64))
    return np.asarray((1 / (1 + np.exp(-odds))).sum(axis=0) - FAR)


def _plates(folder: Path, rng: np.random.Generator) -> Iterator[Sectors]:
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text("utf-8"))
        if not (truth["tuned"] and truth["gradeable"] and any(part["outer"] for part in truth["parts"])):
            continue
        photo = read_photo(path.parent / truth["photo"])
        working, focal = photo.working, photo.focal_px / photo.scale if photo.focal_px else None
        found = rough_plates(working, smoothed(working), focal, look(working))
        for part in truth["parts"]:
            if not (part["outer"] and part["gradeable"]):
                continue
            rims = [Ellipse(**part[rim]).scaled(1 / photo.scale) for rim in ("outer", "inner")]
            plate = next((p for p in found if lies_at(p.outer.ellipse, rims[0])), None)
            if plate is None:
                continue
            face = face_of(plate)
            by_chance = [_changed(replace(face, outer=rims[0], inner=rims[1]), rng) for _ in range(CHANGED)]
            for start in (face, *by_chance):
                # The same plates under other lamps stay together.
                yield _read(working, start, rims, path.stem.split("-")[0], start is face)


def lies_at(seen: Ellipse, true: Ellipse) -> bool:
    """Whether a rim that was found is where a true one is."""
    apart = math.hypot(seen.cx - true.cx, seen.cy - true.cy) / true.major
    return apart < SAME_CENTRE and abs(seen.major / true.major - 1) < SAME_SIZE


def _changed(face: Face, rng: np.random.Generator) -> Face:
    by = max(0.01, 1 / face.radius) * SPREAD
    outer, inner = (changed(rim, rng.normal(0, by)) for rim in (face.outer, face.inner))
    return replace(face, outer=outer, inner=inner)


def _read(working: NDArray[np.uint8], face: Face, rims: list[Ellipse], scene: str, found: bool) -> Sectors:
    readings, in_view = rim_readings(working, face)
    rays = rays_of(face, MIDDLE, FROM_RIM).reshape(SECTORS, len(SIDES), PLACES, 2)
    off = []
    for k, (sign, rim) in enumerate(zip(SIDES, rims, strict=True)):
        # Along a ray the true rim's own radius is nearly linear: the place where it passes 1.
        radius = rim.radius_of(rays[:, k, :, 0], rays[:, k, :, 1])
        off += [np.interp(0, sign * (line - 1), FROM_RIM, -np.inf, np.inf) for line in radius]
    away = np.array(off)
    return Sectors(readings.astype(np.float16), away, in_view.ravel() & np.isfinite(away), scene, found)


if __name__ == "__main__":
    main()
