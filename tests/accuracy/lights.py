"""Print how often the same plates get the same grade under four lights: ``python -m tests.accuracy.lights``.

Needs the four photos of each scene that ``python -m tests.scenes relight --out DIR`` makes.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2

from tests.accuracy.cache import scenes_folder
from tests.accuracy.counts import Share, share
from tests.accuracy.scoring import Json, Scored, score_scene
from wearview.settings import Settings, load_settings

LIGHTS = 4
NOT_FOUND, CANNOT_TELL = "not found", "cannot tell"


@dataclass(frozen=True, slots=True)
class Group:
    """One scene under four lights: for each of its plates, what was said in each photo."""

    tuned: bool
    plates: Mapping[str, tuple[int | str, ...]]

    @property
    def same(self) -> bool:
        """Whether every plate got one and the same answer, and that a grade or an honest "cannot tell"."""
        return all(is_one_answer(answers) for answers in self.plates.values())


def is_one_answer(answers: Sequence[int | str]) -> bool:
    """Whether a plate got one grade, or "cannot tell", in every photo. Not found is no answer."""
    return len(set(answers)) == 1 and NOT_FOUND not in answers


def read_groups(folder: Path) -> Iterator[tuple[Json, ...]]:
    """Truth documents of the scenes whose four photos, and the clean photo they name, are there."""
    by_group: dict[str, list[Json]] = defaultdict(list)
    for path in sorted((folder / "relight").glob("*.json")):
        scene = json.loads(path.read_text("utf-8"))
        if scene["reference"] is None or (folder / scene["reference"]).exists():
            by_group[scene["group"]].append({**scene, "photo": f"relight/{scene['photo']}"})
    return (tuple(scenes) for scenes in by_group.values() if len(scenes) == LIGHTS)


def score_group(folder: Path, scenes: Sequence[Json], settings: Settings) -> Group:
    """Grade the four photos of a scene, each as one call."""
    scored = [score_scene(folder, scene, settings) for scene in scenes]
    wanted = [part["id"] for part in scenes[0]["parts"] if part["gradeable"]]
    answers = [answers_of(s) for s in scored]
    return Group(scenes[0]["tuned"], {name: tuple(given[name] for given in answers) for name in wanted})


def answers_of(scored: Scored) -> dict[str, int | str]:
    """Level, "cannot tell" or "not found" by the true part's id."""
    answers: dict[str, int | str] = {}
    for pair in scored.pairs:
        if pair.seen is None:
            answers[pair.truth["id"]] = NOT_FOUND
        else:
            grade = pair.seen["grade"]
            answers[pair.truth["id"]] = CANNOT_TELL if grade is None else grade["level"]
    return answers


def lights_table(name: str, groups: Sequence[Group]) -> str:
    """The table of one set of groups."""
    plates = [answers for group in groups for answers in group.plates.values()]
    levels = [[a for a in answers if isinstance(a, int)] for answers in plates]
    rows = {
        "groups with one grade for every plate (asked: >= 0.90)": share(group.same for group in groups),
        "plates with one grade": share(is_one_answer(answers) for answers in plates),
        "plates graded in all four photos": share(len(given) == LIGHTS for given in levels),
        "  of those, one grade": share(len(set(given)) == 1 for given in levels if len(given) == LIGHTS),
        "plates two levels apart or more": share(max(given) - min(given) >= 2 for given in levels if given),
        "plates not found in some photo": share(NOT_FOUND in answers for answers in plates),
    }
    return (
        "\n".join([f"{name}: {len(groups)} groups of {LIGHTS} lights", *map(_row, rows, rows.values())])
        + "\n"
    )


def _row(label: str, value: Share) -> str:
    return f"{label:56}" + (f"{value.value:>7.3f}  ({value.k} of {value.n})" if value.n else f"{'-':>7}")


def main(arguments: list[str] | None = None) -> int:
    """Grade every group of a folder and print the tables; progress goes to standard error."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.lights", description=__doc__)
    parser.add_argument(
        "--scenes", type=Path, default=None, help="folder made by python -m tests.scenes relight"
    )
    parser.add_argument("--only", choices=("tuned", "untouched"), help="one set of scenes")
    options = parser.parse_args(arguments)
    folder = options.scenes or scenes_folder()
    cv2.setNumThreads(1)
    settings = load_settings()
    wanted = [
        g for g in read_groups(folder) if options.only is None or g[0]["tuned"] == (options.only == "tuned")
    ]
    if not wanted:
        print(
            f"no groups in {folder}: make them with python -m tests.scenes relight --out {folder}",
            file=sys.stderr,
        )
        return 1
    groups = []
    for k, scenes in enumerate(wanted, start=1):
        print(f"\r{k}/{len(wanted)}", end="", file=sys.stderr, flush=True)
        groups.append(score_group(folder, scenes, settings))
    print(file=sys.stderr)
    for name, tuned in (("tuned", True), ("untouched", False)):
        chosen = [group for group in groups if group.tuned == tuned]
        if chosen:
            print(lights_table(name, chosen))
    return 0


if __name__ == "__main__":
    sys.exit(main())
