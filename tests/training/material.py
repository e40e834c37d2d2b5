"""Fit the weights of `models/material.toml`: `python -m tests.training.material --scenes DIR...`.

Logistic regression on the tuned scenes only, photos under other lights in `DIR/relight` with them. The
printed accuracy is cross-validated with whole linings left out: no plate of a lining helps to judge another
of it, nor a steel beside it.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import log_loss
from sklearn.model_selection import LeaveOneGroupOut

from wearview.look import look_at
from wearview.material import material_features, with_neighbours
from wearview.parts import Ellipse
from wearview.photo import read_photo
from wearview.surface import rectify
from wearview.terms import FRICTION

# Of the fit against its regularisation. 0.1 to 1 move the cross-validated accuracy by under 0.01; with the
# neighbours' say the strongest hand of them leaves the least log loss.
STRENGTH = 0.1
RELIT = 0.25  # weight of one of four photos of the same plate
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
    samples = [s for folder in parser.parse_args().scenes for s in _samples(folder)]
    names = list(samples[0].features)
    features = np.array([[s.features[name] for name in names] for s in samples])
    lined, weight = np.array([s.lined for s in samples]), np.array([s.weight for s in samples])
    linings = [s.lining for s in samples]
    odds = np.zeros(len(samples))
    for train, test in LeaveOneGroupOut().split(features, lined, linings):
        bias, weights = _fit(features[train], lined[train], weight[train])
        odds[test] = bias + features[test] @ weights
    print(HEAD)
    print(
        f"# {len(lined)} plates, {lined.sum()} lined, each of {len(set(linings))} linings left out in turn."
    )
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


def _samples(folder: Path) -> Iterator[Sample]:
    linings = _shop_linings(folder)
    for path in sorted(folder.glob("*.json")) + sorted((folder / "relight").glob("*.json")):
        truth = json.loads(path.read_text("utf-8"))
        if not (truth["tuned"] and truth["gradeable"]):
            continue
        seen = look_at(read_photo(path.parent / truth["photo"]))
        weight = 1.0 if path.parent == folder else RELIT
        for part in seen.parts:
            kind = _true_kind(part.outer, truth["parts"])
            if kind is not None and seen.light is not None:
                features = material_features(rectify(seen.photo, part, seen.light), part)
                shop = linings.get(truth["reference"] or truth["photo"], truth["id"])
                yield Sample(features, kind == FRICTION, shop, f"{folder}/{path.stem}", weight)


def _shop_linings(folder: Path) -> dict[str, str]:
    """The lining that each clean photo shows."""
    truths = [json.loads(path.read_text("utf-8")) for path in folder.glob("*.json")]
    return {t["photo"]: t["parts"][0]["lining"] for t in truths if t["is_reference"]}


def _true_kind(outer: Ellipse | None, parts: list[dict[str, Any]]) -> str | None:
    for part in parts:
        if outer is not None and part["outer"] is not None:
            off = np.hypot(part["outer"]["cx"] - outer.cx, part["outer"]["cy"] - outer.cy)
            if off < 0.1 * outer.major and abs(part["outer"]["major"] / outer.major - 1) < 0.15:
                return str(part["kind"])
    return None


if __name__ == "__main__":
    main()
