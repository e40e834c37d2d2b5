"""Fit the weights of a lining's glaze: `python -m tests.training.glazing --scenes DIR... --pairs DIR...`.

One photo: from the scenes, from those photographed again under four lights (`--relit`), and from each photo
of the pairs. Two lights: from the pairs. Least squares, outliers held down, on the tuned ones only. What is
printed first is cross-validated with whole linings left out: no plate of a lining helps to judge another.
"""

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import expit
from sklearn.model_selection import LeaveOneGroupOut

from tests.accuracy.lights import SETS, read_groups
from tests.accuracy.overlap import match
from tests.accuracy.scoring import Json, grade_scene, read_mask, read_scenes
from tests.accuracy.two_lights import photographed
from wearview.draw import part_masks
from wearview.lining import clean_in_photo, read_glazing
from wearview.lining.glazing import Evidence, evidence_of_glaze, neither_absent
from wearview.lining.glazing import cues as cues_of_one
from wearview.lining.two_lights import cues as cues_of_two
from wearview.lining.two_lights import sheen_shown
from wearview.pipeline import grade_photos
from wearview.settings import Settings, load_settings

START, PAIR_START = (-2.0, -2.0, 30.0, 1.0, 0.0, 0.0, 0.0), (0.0, -5.0, 1.0)
STEP = 0.3  # of a weight that starts from nothing
# Of the index, from which a plate counts less: of one photo's early, so that the middle of what is known
# counts and not its mean, which would hardly ever come up to the glazed ones.
OUTLIER, PAIR_OUTLIER = 5.0, 15.0
COUNTS = 60.0  # index from which glaze adds a level, and how near to it a plate says nothing
MARGIN = 5.0


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
    """Print the weights, with the cross-validated error on top."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, default=[], nargs="+")
    parser.add_argument("--relit", type=Path, default=[], nargs="+")
    parser.add_argument("--pairs", type=Path, default=[], nargs="+")
    options = parser.parse_args()
    samples = [s for folder in options.scenes for s in _samples(folder)]
    samples += [s for folder in options.relit for s in _relit(folder)]
    both = [pair for folder in options.pairs for pair in _pairs(folder)]
    samples += [sample for _, alone in both for sample in alone]
    for name, coloured in (("coloured", True), ("grey", False)):
        if chosen := [s for s in samples if s.shown.coloured == coloured]:
            cues = np.array([cues_of_one(s.shown) for s in chosen])
            alone = np.array([neither_absent(s.shown) for s in chosen])
            _report(f"one photo, {name}", cues, alone, chosen, START, OUTLIER)
    if pairs := [pair for pair, _ in both if pair is not None]:
        cues, alone = (np.array([getattr(pair, name) for pair in pairs]) for name in ("cues", "alone"))
        _report("two lights", cues, alone, pairs, PAIR_START, PAIR_OUTLIER)


def _report(
    name: str,
    cues: NDArray[np.float64],
    alone: NDArray[np.float64],
    samples: Sequence[Sample | Pair],
    start: tuple[float, ...],
    outlier: float,
) -> None:
    """Print the weights fitted to all, and the errors with each lining left out in turn."""
    index, linings = np.array([s.index for s in samples]), [s.lining for s in samples]
    read = np.zeros_like(index)
    for train, test in LeaveOneGroupOut().split(cues, index, linings):
        weights = _fit(cues[train], alone[train], index[train], start, outlier)
        read[test] = _index(weights, cues[test], alone[test])
    off = np.abs(read - index)
    clear = np.abs(index - COUNTS) > MARGIN
    wrong = ((read >= COUNTS) != (index >= COUNTS))[clear].mean()
    print(f"{name}: {len(index)} linings measured, each of {len(set(linings))} left out in turn")
    print(f"off by {off.mean():.1f}, 90 % within {np.quantile(off, 0.9):.0f}")
    print(f"on the wrong side of {COUNTS:g}: {wrong:.3f}")
    print(", ".join(f"{weight:.2f}" for weight in _fit(cues, alone, index, start, outlier)))


def _fit(
    cues: NDArray[np.float64],
    alone: NDArray[np.float64],
    index: NDArray[np.float64],
    start: tuple[float, ...],
    outlier: float,
) -> NDArray[np.float64]:
    def off(weights: NDArray[np.float64]) -> NDArray[np.float64]:
        return _index(weights, cues, alone) - index

    scale = np.maximum(STEP, np.abs(start))
    return np.asarray(least_squares(off, start, loss="soft_l1", f_scale=outlier, x_scale=scale).x)


def _index(
    weights: NDArray[np.float64], cues: NDArray[np.float64], alone: NDArray[np.float64]
) -> NDArray[np.float64]:
    return np.asarray(100 * expit(cues @ weights) * alone)


def _pairs(folder: Path) -> Iterator[tuple[Pair | None, list[Sample]]]:
    """Each plate under both lights, where the grain of both is seen, and in each photo alone."""
    settings = load_settings()
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
            yield pair, alone


def _relit(folder: Path) -> Iterator[Sample]:
    settings = load_settings()
    for scenes in read_groups(folder, SETS[0]):
        if scenes[0]["tuned"]:
            for scene in scenes:
                yield from _of_photo(folder, scene, settings)


def _samples(folder: Path) -> Iterator[Sample]:
    settings = load_settings()
    for scene in read_scenes(folder):
        if scene["tuned"] and scene["gradeable"]:
            yield from _of_photo(folder, scene, settings)


def _of_photo(folder: Path, scene: Json, settings: Settings) -> Iterator[Sample]:
    graded, _ = grade_scene(folder, scene, settings)
    [photo] = graded.photos
    faces = [part.face for part in photo.parts if part.lining is not None and part.face is not None]
    clean = clean_in_photo(faces, graded.reference)
    if clean.lab_median is None:
        return
    for truth, k in _matched(folder, scene, [mask > 127 for mask, _ in part_masks(photo)]):
        part = photo.parts[k]
        if part.face is not None and part.lining is not None and part.lining.glazing.known:
            yield Sample(evidence_of_glaze(part.face, clean), truth["truth"]["glazing"], truth["lining"])


def _matched(folder: Path, scene: Json, found: list[NDArray[np.bool_]]) -> Iterator[tuple[Json, int]]:
    """Lined true parts with the number of the found one."""
    true = [read_mask(folder / part["part_mask"]) for part in scene["parts"]]
    sure = [1.0] * len(found)
    for i, k in match(found, sure, true, [part["gradeable"] for part in scene["parts"]]).pairs:
        if scene["parts"][k]["truth"]["glazing"] is not None:
            yield scene["parts"][k], i


if __name__ == "__main__":
    main()
