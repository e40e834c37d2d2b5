"""Fit the weights of `models/material.toml`: `python -m tests.training.material --scenes DIR...`.

Logistic regression on the tuned scenes only, photos under other lights in `DIR/relight` with them; some of
them also as pictures of 256 colours, others also half as large, as messengers send them. The printed accuracy
is cross-validated with whole linings left out: no plate of a lining helps to judge another of it, nor a steel
beside it.
"""

import argparse
import io
import json
import multiprocessing
import zlib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import log_loss
from sklearn.model_selection import LeaveOneGroupOut

from wearview.look import look_at
from wearview.material import material_features, with_neighbours
from wearview.parts import Ellipse
from wearview.photo import Photo, read_photo, read_photo_bytes
from wearview.surface import rectify
from wearview.terms import FRICTION

# Of the fit against its regularisation: 0.01 to 0.1 move the cross-validated accuracy by under 0.01.
STRENGTH = 0.1
RELIT = 0.25  # weight of one of four photos of the same plate
# Worse copies: each kind of one photo in so many, and what a plate of theirs counts; colours, share of the
# size and JPEG quality.
ONE_IN, WORSE = 3, 0.5
COLOURS, SMALLER, QUALITY = 256, 0.5, 70
HEAD = """\
# Weights of the logistic regression that tells lining from bare metal (wearview/material.py).
# Made by: python -m tests.training.material --scenes DIR..., on the tuned rendered scenes only (invented
# parts: no real plate was measured). Positive speaks for lining."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One plate of a rendered photo."""

    features: dict[str, float]
    lined: bool
    lining: str  # of its shop: what is left out together
    photo: str
    weight: float


def main() -> None:
    """Print the file, with the cross-validated accuracy on top."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True, nargs="+")
    parser.add_argument("--jobs", type=int, default=1, help="photos read at a time")
    options = parser.parse_args()
    samples: list[Sample] = []
    with ProcessPoolExecutor(options.jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        for folder in options.scenes:
            of_photo = partial(_samples, shops=_shop_linings(folder))
            paths = sorted(folder.glob("*.json")) + sorted((folder / "relight").glob("*.json"))
            for found in pool.map(of_photo, paths, chunksize=8):
                samples += found
    names = list(samples[0].features)
    features = np.array([[s.features[name] for name in names] for s in samples])
    lined, weight = np.array([s.lined for s in samples]), np.array([s.weight for s in samples])
    linings = [s.lining for s in samples]
    odds = np.zeros(len(samples))
    for train, test in LeaveOneGroupOut().split(features, lined, linings):
        bias, weights = _fit(features[train], lined[train], weight[train])
        odds[test] = bias + features[test] @ weights
    print(HEAD)
    counted = f"{len(lined)} readings of plates, {lined.sum()} of lined ones"
    print(f"# {counted}, each of {len(set(linings))} linings\n# left out in turn.")
    print(f"# By its own face: {_score(odds, lined, weight)}.")
    print(f"# With its neighbours: {_score(_joined(odds, samples), lined, weight)}.")
    bias, weights = _fit(features, lined, weight)
    print(f"bias = {bias:.3f}")
    for name, value in zip(names, weights, strict=True):
        print(f"{name} = {value:.3f}")


def _score(odds: np.ndarray, lined: np.ndarray, weight: np.ndarray) -> str:
    right = np.average((odds > 0) == lined, weights=weight)
    loss = log_loss(lined, 1 / (1 + np.exp(-odds)), sample_weight=weight)
    return f"{right:.3f} right, log loss {loss:.3f}"


def _joined(odds: np.ndarray, samples: list[Sample]) -> np.ndarray:
    out = odds.copy()
    photos = np.array([s.photo for s in samples])
    for photo in set(photos):
        at = np.flatnonzero(photos == photo)
        out[at] = with_neighbours(odds[at], [samples[k].features["inner_teeth"] > 0 for k in at])
    return out


def _fit(features: np.ndarray, lined: np.ndarray, weight: np.ndarray) -> tuple[float, np.ndarray]:
    """Bias and weights, of features as they come."""
    middle, scale = features.mean(axis=0), features.std(axis=0) + 1e-9
    model = LogisticRegression(C=STRENGTH, class_weight="balanced", max_iter=3000)
    model.fit((features - middle) / scale, lined, sample_weight=weight)
    weights = model.coef_[0] / scale
    return float(model.intercept_[0] - weights @ middle), weights


def _samples(path: Path, shops: dict[str, str]) -> list[Sample]:
    """Every plate found in a tuned photo, given by the file of its truth and by the lining of each shop."""
    cv2.setNumThreads(1)
    truth = json.loads(path.read_text("utf-8"))
    if not (truth["tuned"] and truth["gradeable"]):
        return []
    file = path.parent / truth["photo"]
    lining = next((part["lining"] for part in truth["parts"] if part["lining"]), truth["id"])
    shop = shops.get(truth["reference"] or truth["photo"], lining)
    weight = RELIT if path.parent.name == "relight" else 1.0
    samples = _plates(read_photo(file), truth["parts"], shop, f"{path}", weight)
    draw = zlib.crc32(path.stem.encode()) % ONE_IN
    if draw == 0:
        few = read_photo_bytes(_of_few_colours(file), file.name)
        samples += _plates(few, truth["parts"], shop, f"{path} of few colours", WORSE * weight)
    elif draw == 1:
        small = read_photo_bytes(_smaller(file), file.name)
        samples += _plates(small, truth["parts"], shop, f"{path} smaller", WORSE * weight, SMALLER)
    return samples


def _plates(
    photo: Photo, parts: list[dict[str, Any]], shop: str, name: str, weight: float, size: float = 1.0
) -> list[Sample]:
    seen = look_at(photo)
    if seen.light is None:
        return []
    samples = []
    for part in seen.parts:
        kind = _true_kind(part.outer.scaled(1 / size), parts) if part.outer else None
        if kind is not None:
            features = material_features(rectify(seen.photo, part, seen.light), part)
            samples.append(Sample(features, kind == FRICTION, shop, name, weight))
    return samples


def _of_few_colours(file: Path) -> bytes:
    buffer = io.BytesIO()
    with Image.open(file) as picture:
        picture.quantize(COLOURS).save(buffer, "PNG")
    return buffer.getvalue()


def _smaller(file: Path) -> bytes:
    buffer = io.BytesIO()
    with Image.open(file) as picture:
        picture.reduce(round(1 / SMALLER)).save(buffer, "JPEG", quality=QUALITY)
    return buffer.getvalue()


def _shop_linings(folder: Path) -> dict[str, str]:
    """The lining that each clean photo shows."""
    truths = [json.loads(path.read_text("utf-8")) for path in folder.glob("*.json")]
    return {t["photo"]: t["parts"][0]["lining"] for t in truths if t["is_reference"]}


def _true_kind(outer: Ellipse, parts: list[dict[str, Any]]) -> str | None:
    for part in parts:
        if part["outer"] is not None:
            off = np.hypot(part["outer"]["cx"] - outer.cx, part["outer"]["cy"] - outer.cy)
            if off < 0.1 * outer.major and abs(part["outer"]["major"] / outer.major - 1) < 0.15:
                return str(part["kind"])
    return None


if __name__ == "__main__":
    main()
