"""Fit ``models/deposits-1.toml``: ``python -m tests.training.deposits --scenes DIR... --out FILE``.

Needs what ``python -m tests.scenes deposits`` and ``deposit-training`` made, where the truth of every pixel
is known, and steels of ``accuracy`` or ``broad`` without deposits: heat colour in other light, all of it
oxide.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score

from tests.scenes.deposit_scenes import FOLDER, OFF_FACE, TRAINING_FOLDER
from tests.scenes.deposits import KINDS, VARNISH
from tests.scenes.wear import FAMILIES
from tests.training.networks import Layers, as_read, fit_layers, folds_of, written
from wearview.network import log_odds
from wearview.pipeline import grade_photos
from wearview.settings import Settings, load_settings
from wearview.steel import SteelReadings
from wearview.steel.bare import find_bare
from wearview.steel.codes import UNSEEN, pale_below, tint_codes
from wearview.steel.deposits import deposit_readings
from wearview.surface import Face

SEED, FOLDS, HIDDEN = 20261128, 4, (12,)
PLACES, PLACES_WITHOUT = (
    1500,
    500,
)  # of a face, drawn at random; of one of another catalogue, without deposits
BARE_FROM = 0.97  # share of a face from which a film is painted on a copy of it
NO_SMEAR = 0.003  # share of a face under which a smear on it is not worth counting


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Readings of places (N, readings) of one face and whether a deposit lies there."""

    scene: str
    readings: NDArray[np.float32]
    deposit: NDArray[np.bool_]


def places_of(
    scene: str, face: Face, true: NDArray[np.uint8] | None, settings: Settings, rng: np.random.Generator
) -> Places:
    """Places of a face drawn at random; without a true kind for each, all of it is oxide or bare."""
    seen, lab = face.seen, face.colours
    bare = find_bare(lab, None, face.light_uncertainty, settings.tints, face.metal_lab)
    codes = np.full(face.mask.shape, UNSEEN, np.uint8)
    codes[seen] = tint_codes(lab, bare, pale_below(lab, bare, settings.tints), settings.tints)
    readings = deposit_readings(codes, face, seen, bare).T
    kinds = np.zeros(len(readings), np.uint8) if true is None else true[seen]
    known = np.flatnonzero(kinds != OFF_FACE)
    drawn = rng.choice(known, min(len(known), PLACES_WITHOUT if true is None else PLACES), replace=False)
    return Places(scene, readings[drawn], kinds[drawn] >= len(FAMILIES))


def laid(face: Face, rng: np.random.Generator) -> tuple[Face, NDArray[np.uint8]]:
    """A bare face with a flat film painted on, all of one colour up to its edges, and its true kinds.

    The rendered varnish is never as even as that; a real one may be.
    """
    noise = rng.standard_normal(face.mask.shape).astype(np.float32)
    field = cv2.GaussianBlur(noise, (0, 0), rng.uniform(15, 60))
    there = field > np.quantile(field[face.whole], rng.uniform(0.4, 0.85))
    cover = cv2.GaussianBlur(there.astype(np.float32), (0, 0), rng.uniform(0.8, 1.6))
    depth, hue = rng.uniform(8, 30), np.radians(rng.uniform(50, 90))
    change = depth * np.array([-rng.uniform(0.3, 1.2), np.cos(hue), np.sin(hue)], np.float32)
    kinds = np.where(there, KINDS.index(VARNISH), 0).astype(np.uint8)
    return replace(face, lab=face.lab + cover[..., None] * change), kinds


def read(folders: Sequence[Path], settings: Settings, rng: np.random.Generator) -> Iterator[Places]:
    """Places of every tuned steel."""
    for path in [path for folder in folders for path in sorted(folder.glob("*.json"))]:
        scene = json.loads(path.read_text("utf-8"))
        steels = [part["truth"]["heat_tint"] for part in scene["parts"] if part["truth"].get("heat_tint")]
        if not (scene["tuned"] and scene["gradeable"] and steels):
            continue
        files = sorted(path.parent.glob(f"{scene['id']}-*-kinds.png"))
        if not files and max(steel["area"]["other"] for steel in steels) > NO_SMEAR:
            continue
        [photo] = grade_photos([str(path.with_name(scene["photo"]))], settings).photos
        for part in photo.parts:
            if part.steel is not None and part.face is not None and part.face.seen.any():
                true = _kinds_at(part.face, files) if files else None
                yield places_of(scene["id"], part.face, true, settings, rng)
                if _is_bare(part.face, true, part.steel):
                    yield places_of(scene["id"], *laid(part.face, rng), settings, rng)
        print(scene["id"], file=sys.stderr, flush=True)


def _is_bare(face: Face, true: NDArray[np.uint8] | None, steel: SteelReadings) -> bool:
    """Whether next to nothing but bare metal is on a face; by its reading where the truth is not known."""
    if true is None:
        return bool(steel.area("bare").value > BARE_FROM)
    return bool((true[face.seen] == 0).mean() > BARE_FROM)


def _kinds_at(face: Face, files: Sequence[Path]) -> NDArray[np.uint8]:
    """The true kind at each place of a face, from the map of the part that it is."""
    x, y = np.moveaxis(np.rint(face.xy).astype(int), -1, 0)
    maps = [np.asarray(cv2.imread(str(file), cv2.IMREAD_GRAYSCALE)) for file in files]
    at = [m[np.clip(y, 0, m.shape[0] - 1), np.clip(x, 0, m.shape[1] - 1)] for m in maps]
    return max(at, key=lambda each: np.count_nonzero(each != OFF_FACE))


def fit(faces: Sequence[Places]) -> Layers:
    """The network that tells the deposits of these faces."""
    return fit_layers(
        np.concatenate([face.readings for face in faces]),
        np.concatenate([face.deposit for face in faces]),
        HIDDEN,
        alpha=1.0,
        max_iter=40,
        random_state=SEED,
    )


def left_out(faces: Sequence[Places]) -> Iterator[tuple[Places, NDArray[np.float32]]]:
    """Each face with its places' log odds by a network that saw no face of its scene."""
    fold = folds_of((face.scene for face in faces), np.random.default_rng(SEED), FOLDS)
    for out in range(FOLDS):
        layers = as_read(fit([face for face in faces if fold[face.scene] != out]))
        for face in faces:
            if fold[face.scene] == out:
                yield face, log_odds(layers, face.readings.T)


def main(arguments: list[str] | None = None) -> int:
    """Fit, say how well it does on scenes left out of the fit, and write the weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args(arguments)
    names = ("", FOLDER, TRAINING_FOLDER)
    folders = [given / name for given in options.scenes for name in names if (given / name).is_dir()]
    faces = list(read(folders, load_settings(), np.random.default_rng(SEED)))
    pairs = list(left_out(faces))
    true = np.concatenate([face.deposit for face, _ in pairs])
    odds = np.concatenate([odds for _, odds in pairs])
    report = (
        f"# {len(faces)} faces of {len({face.scene for face in faces})} scenes; scenes left out in turn: "
        f"area under the curve {roc_auc_score(true, odds):.3f}, deposit seen {np.mean(odds[true] > 0):.3f},\n"
        f"# oxide or bare metal taken for one {np.mean(odds[~true] > 0):.3f}."
    )
    print(report)
    options.out.write_text("\n".join([HEAD, report, *written(fit(faces))]) + "\n", "utf-8")
    return 0


HEAD = """\
# Weights that say where varnish, rust or transferred lining lies on a steel (wearview/steel/deposits.py).
# Made by: python -m tests.training.deposits --scenes DIR... --out FILE, on tuned rendered scenes only (no
# real plate was measured)."""

if __name__ == "__main__":
    sys.exit(main())
