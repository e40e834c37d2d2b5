"""Make the scenes: ``python -m tests.scenes accuracy --out DIR``, ``relight`` or ``demo_images``."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from tests.scenes.catalogue import Scene, accuracy_scenes
from tests.scenes.render import VARIANT
from tests.scenes.shoot import SAMPLES, rephotograph, shoot


def main(arguments: list[str] | None = None) -> int:
    """Run one of the commands; progress goes to standard error."""
    parser = argparse.ArgumentParser(prog="python -m tests.scenes", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    accuracy = commands.add_parser("accuracy", help="render the scenes that the accuracy table is made from")
    relight = commands.add_parser("relight", help="photograph rendered scenes under four lights each")
    demo = commands.add_parser("demo_images", help="render the demo photos into a folder")
    demo.add_argument("out", type=Path, nargs="?", default=Path("demo_images"))
    for command in (accuracy, relight):
        command.add_argument("--out", type=Path, required=True)
        command.add_argument("--linear", action="store_true", help="keep the linear renders, 8 MB each")
    for command in (accuracy, relight, demo):
        command.add_argument("--only", help="scene ids, separated by commas")
        command.add_argument("--samples", type=int, default=SAMPLES, help="paths per pixel")
        command.add_argument("--variant", default=VARIANT, help="Mitsuba variant: llvm_ad_rgb or cuda_ad_rgb")
        command.add_argument("--again", action="store_true", help="also scenes that are already there")
    options = parser.parse_args(arguments)
    if options.command == "demo_images":
        from tests.scenes.demo import make_demo

        make_demo(options.out, options.only, options.samples, options.variant, options.again)
        return 0
    scenes = _chosen(accuracy_scenes(), options.only)
    if options.command == "relight":
        scenes = [s for s in scenes if s.gradeable and s.neutral and not s.clean]
    for k, scene in enumerate(scenes, start=1):
        _make(options, scene, f"{k}/{len(scenes)}")
    return 0


def _chosen(scenes: tuple[Scene, ...], only: str | None) -> list[Scene]:
    if only is None:
        return list(scenes)
    wanted = only.split(",")
    missing = set(wanted) - {s.id for s in scenes}
    if missing:
        raise SystemExit(f"no such scene: {', '.join(sorted(missing))}")
    return [s for s in scenes if s.id in wanted]


def _make(options: argparse.Namespace, scene: Scene, count: str) -> None:
    relight = options.command == "relight"
    done = options.out / (f"relight/{scene.id}-light4.json" if relight else f"{scene.id}.json")
    if done.exists() and not options.again:
        return
    start = time.perf_counter()
    if relight and (options.out / "linear" / f"{scene.id}.npz").exists():
        rephotograph(scene, options.out)
    else:
        shoot(
            scene,
            options.out,
            samples=options.samples,
            variant=options.variant,
            keep_linear=options.linear,
            relight=relight,
        )
    print(f"{scene.id} {count} {time.perf_counter() - start:.1f} s", file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
