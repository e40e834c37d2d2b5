"""Print how often a plate gets the same grade under many lights: ``python -m tests.accuracy.lights``.

Needs the photos that ``python -m tests.scenes relight --out DIR`` makes (one phone under four lights), or
with ``--set relight-mat`` or ``--set relight-sheet`` those of the command of that name (four lights, three
phones, three exposures).
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from tests.accuracy.cache import scenes_folder
from tests.accuracy.counts import Share, share
from tests.accuracy.overlap import Mask, match
from tests.accuracy.scoring import Json, read_mask
from wearview.colour import linear_to_lab
from wearview.draw import part_masks
from wearview.errors import CleanReferenceError
from wearview.light.calibrate import MatColours, calibrate_mat
from wearview.look import Clean, clean_from_photo
from wearview.mat import DESIGN, find_mat
from wearview.photo import read_photo
from wearview.pipeline import grade_photos
from wearview.settings import PrintedMat, Settings, load_settings

SETS = ("relight", "relight-mat", "relight-sheet")
FOUR = 4  # photos of a group where its truth does not say
NOT_FOUND, CANNOT_TELL = "not found", "cannot tell"


@dataclass(frozen=True, slots=True)
class Answer:
    """What one photo said of a plate, a level or one of two words; error and interval in Delta E."""

    said: int | str
    method: str = ""
    error: float = math.nan
    stated: float = math.nan


@dataclass(frozen=True, slots=True)
class Plate:
    """One plate under all its lights. `clear`: its truth lies clear of every threshold."""

    name: str
    tuned: bool
    clear: bool
    level: int | None
    answers: tuple[Answer, ...]

    @property
    def same(self) -> bool:
        """Whether it got one grade, or an honest "cannot tell", in every photo. Not found is no answer."""
        said = {answer.said for answer in self.answers}
        return len(said) == 1 and NOT_FOUND not in said

    @property
    def levels(self) -> list[int]:
        """The grades it got."""
        return [answer.said for answer in self.answers if isinstance(answer.said, int)]


def read_groups(folder: Path, name: str) -> Iterator[tuple[Json, ...]]:
    """Truth documents of scenes whose photos are all there; photo and clean photo as paths in `folder`."""
    by_group: dict[str, list[Json]] = defaultdict(list)
    for path in sorted((folder / name).glob("*.json")):
        scene = json.loads(path.read_text("utf-8"))
        if scene["group"] is not None:
            by_group[scene["group"]].append({**scene, "photo": f"{name}/{scene['photo']}"})
    for scenes in by_group.values():
        clean = scenes[0]["reference"]
        where = [place for place in (name, ".") if clean and (folder / place / clean).exists()]
        if len(scenes) == scenes[0].get("of", FOUR) and (where or clean is None):
            yield tuple({**s, "reference": clean and f"{where[0]}/{clean}"} for s in scenes)


def score_group(folder: Path, scenes: Sequence[Json], settings: Settings) -> list[Plate]:
    """Grade every photo of a scene, each as one call against the same clean photo."""
    scene = scenes[0]
    at = (folder / scene["photo"]).parent
    if scene.get("calibration"):
        settings = replace(settings, mat=calibrated(tuple(at / name for name in scene["calibration"])))
    clean = _clean(folder / scene["reference"], settings) if scene["reference"] else None
    masks_at = at if (at / scene["parts"][0]["part_mask"]).exists() else folder
    masks = [read_mask(masks_at / part["part_mask"]) for part in scene["parts"]]
    photos = [answers_of(folder / s["photo"], s, masks, clean, settings) for s in scenes]
    return [
        Plate(
            part["id"],
            scene["tuned"],
            bool(part["truth"]["margin_ok"]),
            part["truth"]["level"],
            tuple(answers[k] for answers in photos),
        )
        for k, part in enumerate(scene["parts"])
        if part["gradeable"]
    ]


def answers_of(
    photo: Path, scene: Json, masks: Sequence[Mask], clean: Clean | None, settings: Settings
) -> list[Answer]:
    """What a photo said of each true part."""
    graded = grade_photos([str(photo)], settings, reference=clean, apply_end=scene["apply_end"]).photos[0]
    found = [part > 127 for part, _ in part_masks(graded)]
    needed = [part["gradeable"] for part in scene["parts"]]
    pairs = match(found, [part.part.kind_confidence for part in graded.parts], masks, needed).pairs
    answers = [Answer(NOT_FOUND)] * len(masks)
    for i, k in pairs:
        part, true = graded.parts[i], scene["parts"][k]["truth"]["delta_e00_median"]
        method = "" if graded.light is None else graded.light.method
        error = stated = math.nan
        if part.lining is not None and part.lining.delta_e00_median.known and true is not None:
            error, stated = abs(part.lining.delta_e00_median.value - true), part.lining.uncertainty
        level = None if part.grade is None else part.grade.level
        answers[k] = Answer(CANNOT_TELL if level is None else level, method, error, stated)
    return answers


@cache
def calibrated(photos: tuple[Path, ...]) -> PrintedMat:
    """The colours of a shop's mat by the first of its photos that serves."""
    for path in photos:
        rgb8 = read_photo(str(path)).working
        mat = find_mat(rgb8)
        if mat is not None and isinstance(found := calibrate_mat(rgb8, mat, "after-2014"), MatColours):
            lab = {name: tuple(map(float, linear_to_lab(colour))) for name, colour in found.linear.items()}
            return PrintedMat(DESIGN, found.by, lab)
    raise RuntimeError(f"no photo calibrates the mat: {photos}")


_CLEAN: dict[Path, Clean | None] = {}


def _clean(path: Path, settings: Settings) -> Clean | None:
    """The clean lining of a photo, measured once; None where it is refused."""
    if path not in _CLEAN:
        try:
            _CLEAN[path] = clean_from_photo(str(path), settings)
        except CleanReferenceError:
            _CLEAN[path] = None
    return _CLEAN[path]


def lights_table(name: str, plates: Sequence[Plate]) -> str:
    """The table of one set of plates."""
    clear = [plate for plate in plates if plate.clear]
    answers = [answer for plate in plates for answer in plate.answers]
    graded = [plate for plate in plates if len(plate.levels) == len(plate.answers)]
    rows = {
        "plates with one answer in every photo": share(plate.same for plate in plates),
        "  of those clear of thresholds": share(plate.same for plate in clear),
        "plates never given two grades": share(len(set(plate.levels)) < 2 for plate in plates),
        "plates graded in every photo": Share(len(graded), len(plates)),
        "plates two levels apart or more": share(
            max(plate.levels) - min(plate.levels) >= 2 for plate in plates if plate.levels
        ),
        "answers that are the plate's usual one": _usual(plates),
        "answers right, clear of thresholds": share(
            answer.said == plate.level for plate in clear for answer in plate.answers
        ),
        "answers cannot tell": share(answer.said == CANNOT_TELL for answer in answers),
        "answers not found": share(answer.said == NOT_FOUND for answer in answers),
    }
    lines = [f"{name}: {len(plates)} plates, {len(answers)} photos of one", *map(_row, rows, rows.values())]
    for method in sorted({answer.method for answer in answers} - {""}):
        lines.append(_errors(method, [a for a in answers if a.method == method and a.error == a.error]))
    return "\n".join(lines) + "\n"


def _usual(plates: Sequence[Plate]) -> Share:
    counts = [[a.said for a in plate.answers] for plate in plates]
    most = [max(said.count(one) for one in set(said)) for said in counts if said]
    return Share(sum(most), sum(map(len, counts)))


def _errors(method: str, answers: Sequence[Answer]) -> str:
    if not answers:
        return f"  light from {method}: nothing measured"
    error, stated = np.array([a.error for a in answers]), np.array([a.stated for a in answers])
    return (
        f"  light from {method}: error of Delta E mean {error.mean():.2f}, worst {error.max():.2f}, "
        f"N {len(error)}; interval {stated.mean():.2f}, holds {(error <= stated).mean():.2f}"
    )


def _row(label: str, value: Share) -> str:
    return f"{label:56}" + (f"{value.value:>7.3f}  ({value.k} of {value.n})" if value.n else f"{'-':>7}")


def plate_line(plate: Plate) -> str:
    """One plate's answers, counted."""
    said = [answer.said for answer in plate.answers]
    counts = ", ".join(f"{one} x {said.count(one)}" for one in sorted(set(said), key=str))
    return f"{plate.name} truly {plate.level}{'' if plate.clear else ' (near)'}: {counts}"


def main(arguments: list[str] | None = None) -> int:
    """Grade every group of a folder and print the tables; progress goes to standard error."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.lights", description=__doc__)
    parser.add_argument("--scenes", type=Path, default=None, help="folder that python -m tests.scenes made")
    parser.add_argument("--set", choices=SETS, default=SETS[0], help="which of its photos")
    parser.add_argument("--only", choices=("tuned", "untouched"), help="one set of scenes")
    parser.add_argument("--each", action="store_true", help="one line for each tuned plate too")
    options = parser.parse_args(arguments)
    folder = options.scenes or scenes_folder()
    cv2.setNumThreads(1)
    settings = load_settings()
    wanted = [
        group
        for group in read_groups(folder, options.set)
        if options.only is None or group[0]["tuned"] == (options.only == "tuned")
    ]
    if not wanted:
        print(f"no groups in {folder}: python -m tests.scenes {options.set} makes them", file=sys.stderr)
        return 1
    plates: list[Plate] = []
    for k, scenes in enumerate(wanted, start=1):
        plates += score_group(folder, scenes, settings)
        print(f"\r{k}/{len(wanted)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    if options.each:
        print("\n".join(plate_line(plate) for plate in plates if plate.tuned) + "\n")
    for name, tuned in (("tuned", True), ("untouched", False)):
        if chosen := [plate for plate in plates if plate.tuned == tuned]:
            print(lights_table(name, chosen))
    return 0


if __name__ == "__main__":
    sys.exit(main())
