"""Fit the chances of rings, `wearview/parts/candidate.py`: `python -m tests.training.rings --scenes DIR...`.

Every ring that the program measures in a tuned photo is a plate, where a true one lies with its rim there, or
another ring; what else lies on a true plate is left out, as which of its edges are the rims is not for the
chance to say. Without the network only photos of plates are fitted to: what rings show does not tell a bench
without any, and with 800 rings of those besides the classical finder misses three times as many plates.
Logistic regression; the printed figures are cross-validated with whole shops left out.
"""

import argparse
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import log_loss
from sklearn.model_selection import LeaveOneGroupOut

from tests.training.rims import lies_at
from tests.training.shops import shop_of
from wearview.parts.choose import SURE
from wearview.parts.find import measured_rings, smoothed
from wearview.parts.learned import look
from wearview.parts.part import Ellipse
from wearview.photo import read_photo

# Of the fit against its regularisation. 3 to 10 leave less log loss, but other rings then come near
# `choose.SURE` or above it, by the word of a network that never saw a real photo.
STRENGTH = 2.0


@dataclass(frozen=True, slots=True)
class Sample:
    """One ring of one photo, read with the network's help or without."""

    cues: tuple[float, float, float, float]
    is_plate: bool
    shop: str  # its photos share linings and steels: what is left out together


def main() -> None:
    """Print the weights as they stand in the source, with the cross-validated figures on top."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True, nargs="+")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    for name, with_network in (("SEEN_WEIGHTS", True), ("ALONE_WEIGHTS", False)):
        samples = [s for folder in options.scenes for s in _samples(folder, with_network=with_network)]
        cues, plate = np.array([s.cues for s in samples]), np.array([s.is_plate for s in samples])
        chance = np.zeros(len(samples))
        for train, test in LeaveOneGroupOut().split(cues, plate, [s.shop for s in samples]):
            chance[test] = _model(cues[train], plate[train]).predict_proba(cues[test])[:, 1]
        under, above = (chance[plate] <= SURE).sum(), (chance[~plate] > SURE).sum()
        print(f"# {plate.sum()} plates, {(~plate).sum()} other rings; shops left out in turn: {under} plates")
        print(f"# under {SURE:g}, {above} other rings above it, log loss {log_loss(plate, chance):.4f}.")
        model = _model(cues, plate)
        print(f"{name} = ({', '.join(f'{v:.1f}' for v in (*model.intercept_, *model.coef_[0]))})")


def _model(cues: NDArray[np.float64], plate: NDArray[np.bool_]) -> LogisticRegression:
    return LogisticRegression(C=STRENGTH, max_iter=1000).fit(cues, plate)


def _samples(folder: Path, *, with_network: bool) -> Iterator[Sample]:
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text("utf-8"))
        if not (truth["tuned"] and (truth["parts"] or with_network)):
            continue
        photo = read_photo(path.parent / truth["photo"])
        working, focal = photo.working, photo.focal_px / photo.scale if photo.focal_px else None
        sight = look(working) if with_network else None
        rings, *_ = measured_rings(working, smoothed(working), focal, sight)
        true = [Ellipse(**part["outer"]).scaled(1 / photo.scale) for part in truth["parts"] if part["outer"]]
        for ring in rings:
            seen = ring.outer.ellipse
            is_plate = any(lies_at(seen, rim) for rim in true)
            if is_plate or not any(_on(seen, rim) for rim in true):
                yield Sample(ring.cues, is_plate, shop_of(folder, truth))


def _on(seen: Ellipse, true: Ellipse) -> bool:
    """Whether the middle of one lies within the other."""
    return math.hypot(seen.cx - true.cx, seen.cy - true.cy) < true.major / 2


if __name__ == "__main__":
    main()
