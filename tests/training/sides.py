"""Fit which edge carries teeth, `wearview/parts/sides.py`: `python -m tests.training.sides --scenes DIR...`.

Each tuned scene's plates are found and laid on each other as the program does it; the true edge is the one
beyond which more of the true mask lies. Logistic regression without a bias, as nothing but the cues may speak
for an edge. Each sample weighs so much that teeth lie on the usual edge of their material as often as the
program takes for usual (`kind.USUAL_SIDE`): rendered packs are the other way round more seldom than that. The
printed figures are cross-validated with whole shops left out.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import log_loss
from sklearn.model_selection import LeaveOneGroupOut

from tests.accuracy.scoring import read_mask
from tests.training.rims import lies_at
from tests.training.shops import shop_of
from wearview.parts.find import find_plates
from wearview.parts.kind import USUAL_SIDE
from wearview.parts.learned import look
from wearview.parts.masks import polar_of
from wearview.parts.part import Ellipse, radius_ratio
from wearview.parts.sides import side_cues
from wearview.parts.stack import read_in_stack
from wearview.photo import read_photo
from wearview.terms import FRICTION

PAST = 0.03  # of the outer radius: what of a part lies so far from its face is teeth


@dataclass(frozen=True, slots=True)
class Sample:
    """One plate of one photo."""

    cues: tuple[float, float, float, float]
    outer: bool  # true edge of the teeth
    lined: bool
    shop: str  # its photos share linings and steels: what is left out together


def main() -> None:
    """Print the weights as they stand in the source, with the cross-validated figures on top."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True, nargs="+")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    samples = [s for folder in options.scenes for s in _samples(folder)]
    cues, outer = np.array([s.cues for s in samples]), np.array([s.outer for s in samples])
    usual = outer != np.array([s.lined for s in samples])
    weight = np.where(usual, USUAL_SIDE / usual.mean(), (1 - USUAL_SIDE) / (1 - usual.mean()))
    chance = np.zeros(len(samples))
    for train, test in LeaveOneGroupOut().split(cues, outer, [s.shop for s in samples]):
        chance[test] = _model(cues[train], outer[train], weight[train]).predict_proba(cues[test])[:, 1]
    right = (chance > 0.5) == outer
    loss = log_loss(outer, chance, sample_weight=weight)
    print(
        f"# {len(outer)} plates, {(~usual).sum()} with teeth on the less usual edge; shops left out in turn:"
    )
    print(f"# {right.sum()} right, {right[~usual].sum()} of the others, log loss {loss:.4f}.")
    print(f"WEIGHTS = ({', '.join(f'{v:.1f}' for v in _model(cues, outer, weight).coef_[0])})")


def _model(
    cues: NDArray[np.float64], outer: NDArray[np.bool_], weight: NDArray[np.float64]
) -> LogisticRegression:
    return LogisticRegression(fit_intercept=False, max_iter=1000).fit(cues, outer, sample_weight=weight)


def _samples(folder: Path) -> Iterator[Sample]:
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text("utf-8"))
        if not (truth["tuned"] and truth["gradeable"]):
            continue
        photo = read_photo(path.parent / truth["photo"])
        working, focal = photo.working, photo.focal_px / photo.scale if photo.focal_px else None
        sight = look(working)
        _, read = read_in_stack(find_plates(working, focal, sight), sight)
        for part in truth["parts"]:
            if not (part["outer"] and part["gradeable"]):
                continue
            outer, inner = (Ellipse(**part[rim]) for rim in ("outer", "inner"))
            small = outer.scaled(1 / photo.scale)
            plate = next((p for p in read if lies_at(p.outer.ellipse, small)), None)
            if plate is not None:
                on_outer = _teeth_on_outer(read_mask(path.parent / part["part_mask"]), outer, inner)
                yield Sample(
                    side_cues(plate, sight), on_outer, part["kind"] == FRICTION, shop_of(folder, truth)
                )


def _teeth_on_outer(mask: NDArray[np.bool_], outer: Ellipse, inner: Ellipse) -> bool:
    """Whether more of a part lies beyond its face than in its hole."""
    rows, columns = np.nonzero(mask)
    rho, _ = polar_of(outer, inner, columns.astype(float), rows.astype(float))
    return bool((rho > 1 + PAST).sum() > (rho < radius_ratio(outer, inner) - PAST).sum())


if __name__ == "__main__":
    main()
