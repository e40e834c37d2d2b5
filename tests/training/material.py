"""Fit the weights of `models/material.toml`: `python -m tests.training.material --scenes DIR`.

Logistic regression on the tuned scenes only; the printed accuracy is cross-validated with whole shops left
out.
"""

import argparse
import json
from pathlib import Path

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold, cross_val_predict

from wearview.material import material_features
from wearview.photo import read_photo
from wearview.pipeline import look_at
from wearview.surface import rectify
from wearview.terms import FRICTION

STRENGTH = (
    0.1  # of the fit against its regularisation; 0.1 to 1 move the cross-validated accuracy by under 0.02
)


def main() -> None:
    """Print the cross-validated accuracy and the weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True)
    rows, lined, shops = _samples(parser.parse_args().scenes)
    names = list(rows[0])
    features = np.array([[row[name] for name in names] for row in rows])
    middle, scale = features.mean(axis=0), features.std(axis=0) + 1e-9
    scaled = (features - middle) / scale
    model = LogisticRegression(C=STRENGTH, class_weight="balanced", max_iter=2000)
    chance = cross_val_predict(model, scaled, lined, groups=shops, cv=GroupKFold(10), method="predict_proba")
    right = (chance[:, 1] > 0.5) == lined
    print(f"# {right.mean():.3f} right of {len(right)} parts, whole shops left out; {lined.sum()} linings")
    model.fit(scaled, lined)
    weights = model.coef_[0] / scale
    print(f"bias = {model.intercept_[0] - weights @ middle:.3f}")
    for name, weight in zip(names, weights, strict=True):
        print(f"{name} = {weight:.3f}")


def _samples(folder: Path) -> tuple[list[dict[str, float]], np.ndarray, np.ndarray]:
    rows, lined, shops = [], [], []
    for path in sorted(folder.glob("[rs]*.json")):
        truth = json.loads(path.read_text("utf-8"))
        if not (truth["tuned"] and truth["gradeable"]):
            continue
        seen = look_at(read_photo(folder / truth["photo"]))
        for part in seen.parts:
            kind = _true_kind(part.outer, truth["parts"])
            if kind is not None and seen.light is not None:
                rows.append(material_features(rectify(seen.photo, part, seen.light), part))
                lined.append(kind == FRICTION)
                shops.append(truth["reference"] or truth["photo"])
    return rows, np.array(lined), np.array(shops)


def _true_kind(outer, parts: list[dict]) -> str | None:
    for part in parts:
        if outer is not None and part["outer"] is not None:
            off = np.hypot(part["outer"]["cx"] - outer.cx, part["outer"]["cy"] - outer.cy)
            if off < 0.1 * outer.major and abs(part["outer"]["major"] / outer.major - 1) < 0.15:
                return str(part["kind"])
    return None


if __name__ == "__main__":
    main()
