"""Fit a lining's glaze: ``python -m tests.training.glazing --scenes DIR... --pairs DIR... --out FILE``.

One photo: `models/glaze-1.toml`, from the scenes, from those photographed again under four lights
(`--relit`), and from each photo of the pairs. Two lights: the weights in `wearview/lining/two_lights.py`,
from the pairs, printed. On the tuned ones only. The figures are cross-validated with whole linings left out:
no plate of a lining helps to judge another.
"""

import argparse
import multiprocessing
import warnings
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import expit
from sklearn.exceptions import ConvergenceWarning
from sklearn.metrics import roc_auc_score
from sklearn.model_selection import GroupKFold, LeaveOneGroupOut

from tests.accuracy.lights import SETS, read_groups
from tests.accuracy.overlap import match
from tests.accuracy.scoring import Json, grade_scene, read_mask, read_scenes
from tests.accuracy.two_lights import photographed
from tests.training.networks import Layers, as_read, averaged, fit_layers, written
from wearview.draw import part_masks
from wearview.lining import clean_in_photo, read_glazing
from wearview.lining.glazing import Evidence, evidence_of_glaze
from wearview.lining.two_lights import cues as cues_of_two
from wearview.lining.two_lights import sheen_shown
from wearview.network import log_odds
from wearview.pipeline import grade_photos
from wearview.settings import load_settings

HIDDEN, FOLDS = (12,), 8
MEMBERS = 8  # networks that are averaged: one alone is wrong more often
# Stopped early: 50 to 300 turns and twice the units come to much the same.
OPTIONS = {"alpha": 4.0, "solver": "lbfgs", "max_iter": 100}
EDGE = 0.005  # of the plates at each end whose readings count as the least and the greatest
PAIR_START = (0.0, -5.0, 1.0)
STEP = 0.3  # of a weight that starts from nothing
PAIR_OUTLIER = 15.0  # of the index, from which a plate counts less
COUNTS = 60.0  # index from which glaze adds a level, and how near to it a plate says nothing
MARGIN = 5.0
HEAD = """\
# Weights that say how likely a lining's glazing index is 60 or more (wearview/lining/glazing.py).
# Made by: python -m tests.training.glazing --scenes DIR... --relit DIR... --pairs DIR... --out FILE, on tuned
# rendered scenes only (no real plate was measured)."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One lined part of a rendered photo."""

    shown: Evidence
    index: float  # true
    lining: str


@dataclass(frozen=True, slots=True)
class Pair:
    """One plate under two lights."""

    cues: tuple[float, float, float]
    alone: float  # how far a sheen is shown
    index: float  # true
    lining: str


def main() -> None:
    """Write the network, and print the weights of two lights, each with the cross-validated figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, default=[], nargs="+")
    parser.add_argument("--relit", type=Path, default=[], nargs="+")
    parser.add_argument("--pairs", type=Path, default=[], nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--jobs", type=int, default=1, help="photos read at a time")
    options = parser.parse_args()
    photos = [(folder, scene) for folder in options.scenes for scene in read_scenes(folder)]
    photos += [
        (folder, s) for folder in options.relit for group in read_groups(folder, SETS[0]) for s in group
    ]
    with ProcessPoolExecutor(options.jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        samples = [s for found in pool.map(_of_photo, *zip(*photos, strict=True), chunksize=8) for s in found]
        both = [pair for found in pool.map(_pairs, options.pairs) for pair in found]
    samples += [sample for _, alone in both for sample in alone]
    options.out.write_text("\n".join(_file(samples)) + "\n", "utf-8")
    if pairs := [pair for pair, _ in both if pair is not None]:
        _report(pairs)


def _file(samples: Sequence[Sample]) -> Iterator[str]:
    """Lines of the network's file, its cross-validated figures on top."""
    cues = np.array([s.shown.cues for s in samples])
    index, linings = np.array([s.index for s in samples]), [s.lining for s in samples]
    glazed, clear = index >= COUNTS, np.abs(index - COUNTS) > MARGIN
    odds = np.zeros(len(samples))
    for train, test in GroupKFold(FOLDS).split(cues, glazed, linings):
        low, high, layers = _network(cues[train][clear[train]], glazed[train][clear[train]])
        odds[test] = log_odds(as_read(layers), np.clip(cues[test], low, high).T.astype(np.float32))
    low, high, layers = _network(cues[clear], glazed[clear])
    area = roc_auc_score(glazed[clear], odds[clear])
    wrong = ((odds > 0) != glazed)[clear].mean()
    yield HEAD
    missed, false = (odds <= 0)[glazed].mean(), (odds > 0)[~glazed].mean()
    counted = f"{len(index)} faces, {glazed.sum()} at {COUNTS:g} or more"
    yield f"# {counted}. Linings left out in turn: area under the"
    yield f"# curve {area:.3f}, on the wrong side {wrong:.3f}, missed {missed:.3f}, false {false:.3f}."
    yield f"# Odds and index, middles of tenths: {_medians(odds, index)}."
    for name, values in (("least", low), ("greatest", high)):
        yield f"{name} = [{', '.join(f'{v:.4g}' for v in values)}]"
    yield from written(layers)


def _medians(odds: NDArray[np.float64], index: NDArray[np.float64]) -> str:
    """Middles of odds and index of tenths of the plates: what `wearview.lining.glazing` reads off."""
    tenths = np.array_split(np.argsort(odds), 10)
    return ", ".join(f"{np.median(odds[k]):.1f} {np.median(index[k]):.0f}" for k in tenths)


def _network(
    cues: NDArray[np.float32], glazed: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.float64], Layers]:
    low, high = np.quantile(cues, (EDGE, 1 - EDGE), axis=0)
    cues = np.clip(cues, low, high)
    with warnings.catch_warnings(category=ConvergenceWarning, action="ignore"):
        members = [fit_layers(cues, glazed, HIDDEN, random_state=k, **OPTIONS) for k in range(MEMBERS)]
    return low, high, averaged(members)


def _report(pairs: Sequence[Pair]) -> None:
    """Print the weights of two lights fitted to all, and the errors with each lining left out in turn."""
    cues, alone = (np.array([getattr(pair, name) for pair in pairs]) for name in ("cues", "alone"))
    index, linings = np.array([s.index for s in pairs]), [s.lining for s in pairs]
    read = np.zeros_like(index)
    for train, test in LeaveOneGroupOut().split(cues, index, linings):
        read[test] = _index(_fit(cues[train], alone[train], index[train]), cues[test], alone[test])
    off = np.abs(read - index)
    clear = np.abs(index - COUNTS) > MARGIN
    wrong = ((read >= COUNTS) != (index >= COUNTS))[clear].mean()
    print(f"two lights: {len(index)} linings measured, each of {len(set(linings))} left out in turn")
    print(f"off by {off.mean():.1f}, 90 % within {np.quantile(off, 0.9):.0f}")
    print(f"on the wrong side of {COUNTS:g}: {wrong:.3f}")
    print(", ".join(f"{weight:.2f}" for weight in _fit(cues, alone, index)))


def _fit(
    cues: NDArray[np.float64], alone: NDArray[np.float64], index: NDArray[np.float64]
) -> NDArray[np.float64]:
    def off(weights: NDArray[np.float64]) -> NDArray[np.float64]:
        return _index(weights, cues, alone) - index

    scale = np.maximum(STEP, np.abs(PAIR_START))
    return np.asarray(least_squares(off, PAIR_START, loss="soft_l1", f_scale=PAIR_OUTLIER, x_scale=scale).x)


def _index(
    weights: NDArray[np.float64], cues: NDArray[np.float64], alone: NDArray[np.float64]
) -> NDArray[np.float64]:
    return np.asarray(100 * expit(cues @ weights) * alone)


def _pairs(folder: Path) -> list[tuple[Pair | None, list[Sample]]]:
    """Each plate under both lights, where the grain of both is seen, and in each photo alone."""
    cv2.setNumThreads(1)
    settings, read = load_settings(), []
    for scene, reference, first, second in photographed(folder, settings, tuned=True):
        graded = grade_photos([first], settings, reference=reference, seconds=[second])
        truth, clean = scene["parts"][0], reference.reference
        index, lining = truth["truth"]["glazing"], truth["lining"]
        for part in graded.photos[0].parts:
            relit, face = part.relit, part.face
            if relit is None or face is None or clean.lab_median is None:
                continue
            alone = [
                Sample(evidence_of_glaze(one, clean), index, lining)
                for one in (face, relit.face)
                if read_glazing(one, clean).known
            ]
            pair = None
            if np.isfinite([relit.shared, clean.grain]).all():
                shown = sheen_shown(face, relit, clean)
                pair = Pair(cues_of_two(relit.shared, clean.grain), shown, index, lining)
            read.append((pair, alone))
    return read


def _of_photo(folder: Path, scene: Json) -> list[Sample]:
    """The lined plates of a tuned photo whose glaze is read."""
    if not (scene["tuned"] and scene["gradeable"]):
        return []
    cv2.setNumThreads(1)
    graded, _ = grade_scene(folder, scene, load_settings())
    [photo] = graded.photos
    faces = [part.face for part in photo.parts if part.lining is not None and part.face is not None]
    clean = clean_in_photo(faces, graded.reference)
    if clean.lab_median is None:
        return []
    samples = []
    for truth, k in _matched(folder, scene, [mask > 127 for mask, _ in part_masks(photo)]):
        part = photo.parts[k]
        if part.face is not None and part.lining is not None and part.lining.glazing.known:
            shown = evidence_of_glaze(part.face, clean)
            samples.append(Sample(shown, truth["truth"]["glazing"], truth["lining"]))
    return samples


def _matched(folder: Path, scene: Json, found: list[NDArray[np.bool_]]) -> Iterator[tuple[Json, int]]:
    """Lined true parts with the number of the found one."""
    true = [read_mask(folder / part["part_mask"]) for part in scene["parts"]]
    sure = [1.0] * len(found)
    for i, k in match(found, sure, true, [part["gradeable"] for part in scene["parts"]]).pairs:
        if scene["parts"][k]["truth"]["glazing"] is not None:
            yield scene["parts"][k], i


if __name__ == "__main__":
    main()
