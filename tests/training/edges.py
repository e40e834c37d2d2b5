"""Fit the weights of `models/edges-1.toml`: `python -m tests.training.edges --scenes DIR... --out FILE`.

Each tuned scene's plates are found as the program finds them, and every place beside their rims is set beside
the true mask. Places under other plates and off the photo are left out. The printed figures are
cross-validated with whole scenes left out.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.accuracy.overlap import match
from tests.accuracy.scoring import read_mask
from tests.training.networks import Layers, fit_layers, folds_of, written
from wearview.parts.beyond import COLUMNS, OFFSETS, ROWS, edge_readings
from wearview.parts.candidate import Plate
from wearview.parts.find import find_plates
from wearview.parts.learned import look
from wearview.parts.masks import PlateMasks
from wearview.parts.part import in_view
from wearview.parts.rims import TURN
from wearview.parts.stack import settle
from wearview.photo import read_photo

HIDDEN = (24,)  # units; with 32 the left-out scenes come out no better
FOLDS = 3
PLACES = 1200  # drawn beside each rim
SEED = 1
HEAD = """\
# Weights that say which places beside a rim are still the plate (wearview/parts/beyond.py).
# Made by: python -m tests.training.edges --scenes DIR... --out FILE, on the tuned rendered scenes only (no
# real plate was measured)."""


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side of one plate: readings (n, ROWS, COLUMNS), the truth, where it counts, its scene."""

    readings: NDArray[np.float32]
    true: NDArray[np.bool_]
    counts: NDArray[np.bool_]
    scene: str


def main() -> None:
    """Write the file and print the cross-validated share of right places."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    sides = [side for folder in options.scenes for side in _sides(folder)]
    rng = np.random.default_rng(SEED)
    fold = folds_of((side.scene for side in sides), rng, FOLDS)
    right = []
    for left_out in range(FOLDS):
        layers = _fit([side for side in sides if fold[side.scene] != left_out], rng)
        right += [_right(side, layers) for side in sides if fold[side.scene] == left_out]
    report = f"# {len(sides)} sides of plates of {len(fold)} scenes; places right, scenes left out in turn: "
    report += f"{np.mean(right):.4f}."
    print(report)
    options.out.write_text("\n".join([HEAD, report, *written(_fit(sides, rng))]) + "\n", "utf-8")


def _fit(sides: list[Side], rng: np.random.Generator) -> Layers:
    """Weights and biases of each layer, for readings as they come."""
    readings, true = [], []
    for side in sides:
        rows, columns = np.nonzero(side.counts)
        if len(rows):
            drawn = rng.choice(len(rows), min(PLACES, len(rows)), replace=False)
            readings.append(side.readings[:, rows[drawn], columns[drawn]].T)
            true.append(side.true[rows[drawn], columns[drawn]])
    return fit_layers(
        np.concatenate(readings).astype(np.float32),
        np.concatenate(true),
        HIDDEN,
        alpha=1e-3,
        batch_size=2048,
        max_iter=12,
        learning_rate_init=3e-3,
        random_state=SEED,
    )


def _right(side: Side, layers: Layers) -> float:
    values = side.readings.reshape(-1, ROWS * COLUMNS).T.astype(np.float64)
    for weights, bias in layers[:-1]:
        values = np.maximum(values @ weights + bias, 0)
    odds = (values @ layers[-1][0] + layers[-1][1]).reshape(ROWS, COLUMNS)
    return float(((odds > 0) == side.true)[side.counts].mean()) if side.counts.any() else 1.0


def _sides(folder: Path) -> Iterator[Side]:
    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text("utf-8"))
        if not (truth["tuned"] and truth["gradeable"]):
            continue
        photo = read_photo(path.parent / truth["photo"])
        focal = photo.focal_px / photo.scale if photo.focal_px else None
        size = photo.working.shape[1::-1]
        sight = look(photo.working)
        visible = settle(find_plates(photo.working, focal, sight), size[::-1], sight)
        masks = [_shrunk(path.parent / part["part_mask"], size) for part in truth["parts"]]
        matching = match(
            [_whole(v.masks, size) for v in visible],
            [1.0] * len(visible),
            [mask > 0.5 for mask in masks],
            [part["gradeable"] for part in truth["parts"]],
        )
        for found, part in matching.pairs:
            others = sum((m for k, m in enumerate(masks) if k != part), np.zeros(size[::-1], np.float32))
            yield from _sides_of(visible[found].plate, masks[part], others, f"{folder}/{path.stem}")


def _shrunk(path: Path, size: tuple[int, int]) -> NDArray[np.float32]:
    return cv2.resize(read_mask(path).astype(np.float32), size, interpolation=cv2.INTER_AREA)


def _whole(masks: PlateMasks, size: tuple[int, int]) -> NDArray[np.bool_]:
    whole = np.zeros(size[::-1], bool)
    x, y = masks.origin
    whole[y : y + masks.part.shape[0], x : x + masks.part.shape[1]] = masks.part
    return whole


def _sides_of(
    plate: Plate, own: NDArray[np.float32], others: NDArray[np.float32], scene: str
) -> Iterator[Side]:
    every = len(TURN) // ROWS
    at_inner, at_outer = (rim.ellipse.points(TURN[::every])[:, None] for rim in (plate.inner, plate.outer))
    for outward, teeth in ((True, plate.outside), (False, plate.inside)):
        rho = 1 + OFFSETS if outward else plate.ratio - OFFSETS
        across = ((rho - plate.ratio) / (1 - plate.ratio))[None, :, None]
        xy = (at_inner + (at_outer - at_inner) * across).astype(np.float32)
        true, covered = (cv2.remap(m, xy, None, cv2.INTER_LINEAR) for m in (own, others))
        counts = (covered < 0.01) & in_view(xy, own.shape[::-1]) & ~plate.hidden[::every, None]
        readings = edge_readings(plate.rays, teeth, outward=outward)
        yield Side(readings.astype(np.float16), true > 0.5, counts, scene)


if __name__ == "__main__":
    main()
