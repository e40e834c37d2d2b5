"""Fit the weights of `wearview.steel.deposits`: ``python -m tests.training.deposits``.

Needs what ``python -m tests.scenes deposits`` made, and steels without deposits of ``accuracy`` or ``broad``:
their coloured patches are oxide throughout but for a smear or two.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import roc_auc_score
from sklearn.model_selection import GroupKFold, cross_val_predict

from tests.scenes.deposit_scenes import FOLDER, OFF_FACE
from tests.scenes.wear import FAMILIES
from wearview.pipeline import grade_photos
from wearview.settings import Settings, load_settings
from wearview.steel.bare import find_bare
from wearview.steel.codes import UNSEEN, pale_below, tint_codes
from wearview.steel.deposits import NAMES, Patches, find_patches
from wearview.surface import Face

Rows = tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.float64]]


def rows_of(face: Face, true: NDArray[np.uint8] | None, settings: Settings) -> Rows:
    """Features of a face's patches, which are deposits, and their shares of the face."""
    seen, lab = face.seen, face.colours
    bare = find_bare(lab, None, face.light_uncertainty, settings.tints, face.metal_lab)
    codes = np.full(face.mask.shape, UNSEEN, np.uint8)
    codes[seen] = tint_codes(lab, bare, pale_below(lab, bare, settings.tints), settings.tints)
    patches = find_patches(codes, face, seen, bare)
    n = len(patches.features)
    size = np.bincount(patches.labels.ravel(), minlength=n + 1)[1:]
    if true is None:
        return patches.features, np.zeros(n, bool), size / seen.sum()
    return patches.features, _are_deposits(patches, true, n), size / seen.sum()


def _are_deposits(patches: Patches, true: NDArray[np.uint8], n: int) -> NDArray[np.bool_]:
    on, known = true >= len(FAMILIES), true != OFF_FACE
    of_deposit = np.bincount(patches.labels[on & known], minlength=n + 1)[1:]
    return of_deposit > np.bincount(patches.labels[known], minlength=n + 1)[1:] / 2


def read(folders: list[Path], settings: Settings) -> Iterator[tuple[str, Rows]]:
    """The patches of every tuned steel, by scene."""
    for path in [path for folder in folders for path in sorted(folder.glob("*.json"))]:
        scene = json.loads(path.read_text("utf-8"))
        steels = [part for part in scene["parts"] if part["truth"].get("heat_tint")]
        if not (scene["tuned"] and scene["gradeable"] and steels):
            continue
        [photo] = grade_photos([str(path.with_name(scene["photo"]))], settings).photos
        files = sorted(path.parent.glob(f"{scene['id']}-*-kinds.png"))
        for part in photo.parts:
            if part.steel is None or part.face is None:
                continue
            true = None
            if files:
                x, y = np.moveaxis(np.rint(part.face.xy).astype(int), -1, 0)
                maps = [np.asarray(cv2.imread(str(file), cv2.IMREAD_GRAYSCALE)) for file in files]
                at = [m[np.clip(y, 0, m.shape[0] - 1), np.clip(x, 0, m.shape[1] - 1)] for m in maps]
                true = max(at, key=lambda each: np.count_nonzero(each != OFF_FACE))
            yield scene["id"], rows_of(part.face, true, settings)
        print(scene["id"], file=sys.stderr, flush=True)


def main(arguments: list[str] | None = None) -> int:
    """Fit, say how well it does on scenes left out of the fit, and print the weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, nargs="+", required=True)
    options = parser.parse_args(arguments)
    folders = [folder for given in options.scenes for folder in (given, given / FOLDER) if folder.is_dir()]
    found = list(read(folders, load_settings()))
    features, is_deposit, size = (np.concatenate([rows[k] for _, rows in found]) for k in range(3))
    scene = np.concatenate([np.full(len(rows[0]), k) for k, (_, rows) in enumerate(found)])
    scale = features.std(axis=0)
    model = LogisticRegression(max_iter=500)
    weigh = {"sample_weight": 10 * np.sqrt(size)}
    chance = cross_val_predict(
        model,
        features / scale,
        is_deposit,
        groups=scene,
        cv=GroupKFold(5),
        method="predict_proba",
        params=weigh,
    )[:, 1]
    area = roc_auc_score(is_deposit, chance, sample_weight=size)
    print(f"{len(features)} patches, {is_deposit.sum()} deposits; area under the curve {area:.3f}")
    model.fit(features / scale, is_deposit, **weigh)
    print(f"bias {model.intercept_[0]:.3g}")
    for name, weight in zip(NAMES, model.coef_[0] / scale, strict=True):
        print(f"{name} {weight:.3g}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
