"""Print how well glaze is told from an oil film with one photo and with two lights: ``python -m
tests.accuracy.two_lights``.

Needs the photos that ``python -m tests.scenes pairs --out DIR`` makes. The clean reference is the dry plate
of the same lining, photographed alike.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from sklearn.metrics import roc_auc_score

from tests.accuracy.cache import scenes_folder
from tests.accuracy.scoring import Json
from tests.scenes.pairs import FOLDER, read_pairs
from wearview.errors import CleanReferenceError
from wearview.look import Clean, clean_from_photo
from wearview.pipeline import grade_photos
from wearview.settings import Settings, load_settings
from wearview.terms import SECOND_NO_FIT

GLAZED, WET, DRY = "glazed", "wet", "dry"


@dataclass(frozen=True, slots=True)
class Told:
    """Glazing indexes of one plate; NaN where none was measured."""

    tuned: bool
    state: str
    truth: float
    one: float
    two: float
    refused: bool


def main(arguments: list[str] | None = None) -> int:
    """Grade every pair with one photo and with both, and print the areas under the curve."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, default=scenes_folder())
    options = parser.parse_args(arguments)
    told = list(read(options.scenes, load_settings()))
    for name, tuned in (("tuned", True), ("untouched", False)):
        print(name, summary([one for one in told if one.tuned == tuned]))
    return 0


def read(folder: Path, settings: Settings) -> Iterator[Told]:
    """Every glazed, wet or dry plate that has a second light."""
    for scene, reference, first, second in photographed(folder, settings):
        values, refused = [], False
        for again in (None, second):
            graded = grade_photos([first], settings, reference=reference, seconds=[again])
            lined = [part.lining.glazing for part in graded.photos[0].parts if part.lining is not None]
            values.append(lined[0].value if lined else np.nan)
            refused = SECOND_NO_FIT in graded.photos[0].problems
        truth = scene["parts"][0]["truth"]["glazing"]
        yield Told(scene["tuned"], scene["state"], truth, *values, refused)
        print(scene["id"], file=sys.stderr, flush=True)


def photographed(
    folder: Path, settings: Settings, *, tuned: bool = False
) -> Iterator[tuple[Json, Clean, str, str]]:
    """Truth, clean lining and both photos of every plate that has a second light; only tuned ones if so
    asked."""
    scenes = [scene for scene in read_pairs(folder) if scene["tuned"] or not tuned]
    clean = _references(folder, scenes, settings)
    for scene in scenes:
        reference = clean.get(scene["parts"][0]["lining"])
        if "photo_b" in scene and reference is not None:
            first, second = (str(folder / FOLDER / scene[name]) for name in ("photo", "photo_b"))
            yield scene, reference, first, second


def _references(folder: Path, scenes: list[Json], settings: Settings) -> dict[str, Clean]:
    """The dry plate of each lining whose grain is seen best."""
    found: dict[str, Clean] = {}
    for scene in scenes:
        if scene["state"] != DRY:
            continue
        try:
            clean = clean_from_photo(str(folder / FOLDER / scene["photo"]), settings)
        except CleanReferenceError:
            continue
        best = found.setdefault(scene["parts"][0]["lining"], clean)
        if not best.reference.grain >= clean.reference.grain:
            found[scene["parts"][0]["lining"]] = clean
    return found


def summary(told: list[Told]) -> str:
    """Areas under the curve, index errors, pairs refused, and how many."""
    parts = []
    for name in ("one", "two"):
        pairs = [t for t in told if t.state in (GLAZED, WET) and np.isfinite(getattr(t, name))]
        glazed = [t.state == GLAZED for t in pairs]
        if len(set(glazed)) == 2:
            area = roc_auc_score(glazed, [getattr(t, name) for t in pairs])
            error = float(np.mean([abs(getattr(t, name) - t.truth) for t in pairs]))
            parts.append(f"{name}: AUC {area:.3f}, index off by {error:.0f} (N {len(pairs)})")
    refused = sum(t.refused for t in told)
    return "; ".join([*parts, f"pairs refused {refused} of {len(told)}"])


if __name__ == "__main__":
    sys.exit(main())
