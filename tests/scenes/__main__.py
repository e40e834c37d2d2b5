"""Make the scenes: ``python -m tests.scenes accuracy --out DIR``, or another of its commands.

``accuracy`` and ``broad`` render a catalogue, ``relight`` and ``broad-relight`` photograph scenes of it under
four lights each, ``relight-mat`` and ``relight-sheet`` plates by three phones at three exposures under four
lights, ``pairs``, ``fresh-pairs`` and ``drawn-pairs`` render plates under two lamps, ``deposits`` and
``deposit-training`` steels with more than oxide on them, ``piled`` plates on and in each other, ``part-free``
benches without a part, ``demo_images`` the demo photos.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tests.scenes.broad import (
    any_bench_scenes,
    broad_scenes,
    fresh_scenes,
    further_part_free_scenes,
    further_scenes,
    part_free_scenes,
    relit_scenes,
    rim_training_scenes,
    second_fresh_scenes,
    third_fresh_scenes,
)
from tests.scenes.catalogue import Scene, accuracy_scenes
from tests.scenes.deposit_scenes import (
    FOLDER,
    TRAINING_FOLDER,
    deposit_scenes,
    make_deposits,
    training_scenes,
)
from tests.scenes.four_lights import MAT, SHEET, four_light_scenes, make_four_lights
from tests.scenes.glaze_scenes import HEAT, glaze_scenes
from tests.scenes.pairs import drawn_pair_scenes, fresh_pair_scenes, make_pairs, pair_scenes
from tests.scenes.piled import piled_scenes
from tests.scenes.render import VARIANT
from tests.scenes.series import Task, make_all
from tests.scenes.shoot import SAMPLES

PART_FREE, PAIRS, FRESH_PAIRS, DRAWN_PAIRS = "part-free", "pairs", "fresh-pairs", "drawn-pairs"
ON_MAT, BY_SHEET = "relight-mat", "relight-sheet"
CATALOGUES = {
    "accuracy": (accuracy_scenes, "the scenes that the accuracy table is made from"),
    "relight": (
        lambda: tuple(s for s in accuracy_scenes() if s.gradeable and s.neutral and not s.clean),
        "those of them that can be graded beside a neutral, under four lights each",
    ),
    "broad": (broad_scenes, "240 further scenes, more varied"),
    "fresh": (fresh_scenes, "120 more of the kind, all untouched"),
    "second-fresh": (second_fresh_scenes, "120 others, all untouched"),
    "third-fresh": (third_fresh_scenes, "120 others again, all untouched"),
    "any-bench": (any_bench_scenes, "120 to find faults with, on benches put together by chance"),
    "further": (further_scenes, "120 more of the kind to find faults with, none untouched"),
    "glaze-training": (
        glaze_scenes,
        "456 photos of lined plates to fit readings to, and 152 clean ones",
    ),
    "heat-training": (
        lambda: glaze_scenes(HEAT),
        "252 others, their heat brown to sooty, and 84 clean ones",
    ),
    "rim-training": (rim_training_scenes, "400 photos of plates to fit rims to, and nothing else"),
    "broad-relight": (relit_scenes, "forty of them under four lights each"),
    ON_MAT: (
        lambda: four_light_scenes(MAT),
        "42 plates on the bench mat under four lights by three phones, into a folder of that name",
    ),
    BY_SHEET: (
        lambda: four_light_scenes(SHEET),
        "the same in rows of three beside paper or card, into a folder of that name",
    ),
    PAIRS: (pair_scenes, "glazed, oil-wet and clean plates under two lamps each, into a folder of that name"),
    "piled": (piled_scenes, "90 scenes of plates fanned, stacked, in a drum, on edge, seen through holes"),
    FRESH_PAIRS: (fresh_pair_scenes, "half as many others, all untouched, into the same folder"),
    DRAWN_PAIRS: (drawn_pair_scenes, "32 drawn linings glazed and oil-wet, to be fitted to alone, likewise"),
    FOLDER: (
        deposit_scenes,
        "steels with varnish, rust and transferred lining, into a folder of that name",
    ),
    TRAINING_FOLDER: (training_scenes, "more of them, to be fitted to alone, into a folder of that name"),
    PART_FREE: (part_free_scenes, "300 small photos without a part, into a folder of that name"),
    "further-part-free": (further_part_free_scenes, "240 more, none untouched, likewise"),
}


def main(arguments: list[str] | None = None) -> int:
    """Run one of the commands; progress goes to standard error."""
    parser = argparse.ArgumentParser(prog="python -m tests.scenes", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    demo = commands.add_parser("demo_images", help="render the demo photos into a folder")
    demo.add_argument("out", type=Path, nargs="?", default=Path("demo_images"))
    every = [demo]
    for name, (_, text) in CATALOGUES.items():
        command = commands.add_parser(name, help=text)
        command.add_argument("--out", type=Path, required=True)
        command.add_argument("--linear", action="store_true", help="keep the linear renders, 8 MB each")
        command.add_argument("--jobs", type=int, default=1, help="scenes made at a time")
        every.append(command)
    for command in every:
        command.add_argument("--only", help="scene ids, separated by commas")
        command.add_argument("--samples", type=int, default=SAMPLES, help="paths per pixel")
        command.add_argument("--variant", default=VARIANT, help="Mitsuba variant: llvm_ad_rgb or cuda_ad_rgb")
        command.add_argument("--again", action="store_true", help="also scenes that are already there")
    options = parser.parse_args(arguments)
    if options.command == "demo_images":
        from tests.scenes.demo import make_demo

        make_demo(options.out, options.only, options.samples, options.variant, options.again)
        return 0
    scenes = _chosen(CATALOGUES[options.command][0](), options.only)
    if options.command in (PAIRS, FRESH_PAIRS, DRAWN_PAIRS):
        make_pairs(options.out, scenes, options.samples, options.variant, options.again)
        return 0
    if options.command in (ON_MAT, BY_SHEET):
        make_four_lights(options.out, scenes, options.samples, options.variant, options.again)
        return 0
    if options.command in (FOLDER, TRAINING_FOLDER):
        make_deposits(options.out / options.command, scenes, options.samples, options.variant, options.again)
        return 0
    task = Task(
        out=options.out / PART_FREE if options.command.endswith(PART_FREE) else options.out,
        relight=options.command in ("relight", "broad-relight"),
        keep_linear=options.linear,
        samples=options.samples,
        variant=options.variant,
        again=options.again,
    )
    failed = make_all(task, scenes, options.jobs)
    for scene_id, error in failed:
        print(f"{scene_id} failed: {error}", file=sys.stderr)
    return 1 if failed else 0


def _chosen(scenes: tuple[Scene, ...], only: str | None) -> list[Scene]:
    if only is None:
        return list(scenes)
    wanted = only.split(",")
    missing = set(wanted) - {s.id for s in scenes}
    if missing:
        raise SystemExit(f"no such scene: {', '.join(sorted(missing))}")
    return [s for s in scenes if s.id in wanted]


if __name__ == "__main__":
    sys.exit(main())
