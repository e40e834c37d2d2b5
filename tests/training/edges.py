"""Fit the weights of `models/edges-1.toml`: `python -m tests.training.edges --scenes DIR... --out FILE`.

Each tuned scene's plates are found as the program finds them, and places beside their rims are set beside the
true mask. Places under other plates and off the photo are left out.
"""

import argparse
import json
import multiprocessing
import zlib
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.accuracy.overlap import match
from tests.accuracy.scoring import read_mask
from tests.training.networks import Layers, as_read, fit_layers, folds_of, written
from wearview.network import log_odds
from wearview.parts.beyond import OFFSETS, ROWS, edge_readings
from wearview.parts.candidate import Plate
from wearview.parts.find import find_plates
from wearview.parts.learned import look
from wearview.parts.masks import PlateMasks
from wearview.parts.part import in_view
from wearview.parts.rims import TURN
from wearview.parts.stack import settle
from wearview.photo import read_photo

HIDDEN = (24,)  # units; with 32 the left-out scenes come out no better
FOLDS = 3  # one in so many scenes is left out of the fit that the printed figures are of
PLACES = 1200  # drawn beside each rim
SEED = 1
HEAD = """\
# Weights that say which places beside a rim are still the plate (wearview/parts/beyond.py).
# Made by: python -m tests.training.edges --scenes DIR... --out FILE, on the tuned rendered scenes only (no
# real plate was measured)."""


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """Places beside one rim of one plate: readings (n, places), whether each is the plate; the scene."""

    readings: NDArray[np.float16]
    true: NDArray[np.bool_]
    scene: str


def main() -> None:
    """Write the file and print the share of right places on scenes left out of a fit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--jobs", type=int, default=1, help="photos read at a time")
    options = parser.parse_args()
    paths = [path for folder in options.scenes for path in sorted(folder.glob("*.json"))]
    with ProcessPoolExecutor(options.jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        sides = [side for found in pool.map(sides_of_photo, paths, chunksize=8) for side in found]
    fold = folds_of((side.scene for side in sides), np.random.default_rng(SEED), FOLDS)
    layers = as_read(_fit([side for side in sides if fold[side.scene]]))
    right = [_right(side, layers) for side in sides if not fold[side.scene]]
    report = (
        f"# {len(sides)} sides of plates of {len(fold)} scenes. On {len(right)} sides of scenes left out of a"
    )
    report += f" fit\n# {np.mean(right):.4f} of the places are right."
    print(report)
    options.out.write_text("\n".join([HEAD, report, *written(_fit(sides))]) + "\n", "utf-8")


def _fit(sides: list[Side]) -> Layers:
    """Weights and biases of each layer, for readings as they come."""
    return fit_layers(
        np.concatenate([side.readings.T for side in sides]).astype(np.float32),
        np.concatenate([side.true for side in sides]),
        HIDDEN,
        settling=4,
        alpha=1e-3,
        batch_size=2048,
        max_iter=12,
        learning_rate_init=3e-3,
        random_state=SEED,
    )


def _right(side: Side, layers: list[tuple[NDArray[np.float32], NDArray[np.float32]]]) -> float:
    return float(((log_odds(layers, side.readings.astype(np.float32)) > 0) == side.true).mean())


def sides_of_photo(path: Path) -> list[Side]:
    """Both sides of every plate that is found in a tuned photo, given by the file of its truth."""
    cv2.setNumThreads(1)
    truth = json.loads(path.read_text("utf-8"))
    if not (truth["tuned"] and truth["gradeable"]):
        return []
    rng = np.random.default_rng([SEED, zlib.crc32(path.stem.encode())])
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
    sides = []
    for found, part in matching.pairs:
        others = sum((m for k, m in enumerate(masks) if k != part), np.zeros(size[::-1], np.float32))
        sides += _sides_of(visible[found].plate, masks[part], others, path.stem.split("-")[0], rng)
    return sides


def _shrunk(path: Path, size: tuple[int, int]) -> NDArray[np.float32]:
    return cv2.resize(read_mask(path).astype(np.float32), size, interpolation=cv2.INTER_AREA)


def _whole(masks: PlateMasks, size: tuple[int, int]) -> NDArray[np.bool_]:
    whole = np.zeros(size[::-1], bool)
    x, y = masks.origin
    whole[y : y + masks.part.shape[0], x : x + masks.part.shape[1]] = masks.part
    return whole


def _sides_of(
    plate: Plate,
    own: NDArray[np.float32],
    others: NDArray[np.float32],
    scene: str,
    rng: np.random.Generator,
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
        rows, columns = np.nonzero(counts)
        if len(rows):
            drawn = rng.choice(len(rows), min(PLACES, len(rows)), replace=False)
            at = rows[drawn], columns[drawn]
            yield Side(readings[:, *at].astype(np.float16), true[at] > 0.5, scene)


if __name__ == "__main__":
    main()
