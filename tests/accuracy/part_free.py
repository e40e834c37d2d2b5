"""Print how many parts are found on benches that have none: ``python -m tests.accuracy.part_free``.

Needs the photos that ``python -m tests.scenes part-free --out DIR`` makes.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from tests.accuracy.cache import scenes_folder
from tests.accuracy.counts import Share, share
from tests.accuracy.scoring import Json
from wearview.pipeline import grade_photos
from wearview.record import build_document
from wearview.settings import Settings, load_settings

FOLDER = "part-free"


@dataclass(frozen=True, slots=True)
class Bench:
    """One part-free photo looked at: what was taken for a part, with the clutter nearest to it."""

    scene: Json
    taken_for: tuple[tuple[str, str], ...]  # (kind, name of the clutter)
    graded: int  # how many of them a customer would see a grade for


def read_benches(folder: Path) -> Iterator[Json]:
    """Truth documents of the part-free photos of a folder."""
    for path in sorted((folder / FOLDER).glob("*.json")):
        yield json.loads(path.read_text("utf-8"))


def score_bench(folder: Path, scene: Json, settings: Settings) -> Bench:
    """Grade one part-free photo."""
    graded = grade_photos([str(folder / FOLDER / scene["photo"])], settings)
    parts = build_document(graded, settings)["photos"][0]["parts"]
    named = tuple((part["kind"], _nearest(part, scene["clutter"])) for part in parts)
    return Bench(scene, named, sum(part["grade"] is not None for part in parts))


def _nearest(part: Json, clutter: Sequence[Json]) -> str:
    """The clutter whose place is nearest to the middle of the part's outline; "bench" without any."""
    outer = part["outline"]["outer"]
    xy = [outer["cx"], outer["cy"]] if outer else np.mean(part["outline"]["polygon"], axis=0)
    away = [float(np.hypot(thing["x"] - xy[0], thing["y"] - xy[1])) for thing in clutter]
    return str(clutter[int(np.argmin(away))]["name"]) if away else "bench"


def part_free_table(name: str, benches: Sequence[Bench]) -> str:
    """The table of one set of benches; what was mistaken is named on tuned ones only."""
    found = [thing for bench in benches for thing in bench.taken_for]
    rows = {
        "photos with a false part": share(bool(bench.taken_for) for bench in benches),
        "false parts (asked: <= 2 of 300 photos)": Share(len(found), len(benches)),
        "  of those, graded": Share(sum(bench.graded for bench in benches), len(found)),
    }
    lines = [f"{name}: {len(benches)} photos without a part"]
    lines += [f"{label:44}{value.value:>9.3f}  ({value.k} of {value.n})" for label, value in rows.items()]
    if all(bench.scene["tuned"] for bench in benches):
        lines += [f"  {kind}: {thing}  {n}" for (kind, thing), n in Counter(found).most_common()]
    return "\n".join(lines) + "\n"


def main(arguments: list[str] | None = None) -> int:
    """Grade every part-free photo of a folder and print the tables; progress goes to standard error."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.part_free", description=__doc__)
    parser.add_argument(
        "--scenes", type=Path, default=None, help="folder made by python -m tests.scenes part-free"
    )
    parser.add_argument("--only", choices=("tuned", "untouched"), help="one set of photos")
    options = parser.parse_args(arguments)
    folder = options.scenes or scenes_folder()
    cv2.setNumThreads(1)
    settings = load_settings()
    sets = {"tuned": True, "untouched": False}
    if options.only:
        sets = {options.only: sets[options.only]}
    wanted = [scene for scene in read_benches(folder) if scene["tuned"] in sets.values()]
    if not wanted:
        print(
            f"no photos in {folder / FOLDER}: make them with python -m tests.scenes part-free --out {folder}",
            file=sys.stderr,
        )
        return 1
    benches = []
    for k, scene in enumerate(wanted, start=1):
        print(f"\r{k}/{len(wanted)}", end="", file=sys.stderr, flush=True)
        benches.append(score_bench(folder, scene, settings))
    print(file=sys.stderr)
    for name, tuned in sets.items():
        chosen = [bench for bench in benches if bench.scene["tuned"] == tuned]
        if chosen:
            print(part_free_table(name, chosen))
    return 0


if __name__ == "__main__":
    sys.exit(main())
