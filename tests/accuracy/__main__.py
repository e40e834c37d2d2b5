"""Print the accuracy table: ``python -m tests.accuracy``."""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import cv2

from tests.accuracy.cache import scenes_folder
from tests.accuracy.figures import figures_of
from tests.accuracy.scoring import Scored, read_scenes, score_scene
from tests.accuracy.table import scene_lines, table
from tests.scenes.broad import broad_scenes
from tests.scenes.catalogue import Scene, accuracy_scenes
from tests.scenes.piled import piled_scenes
from wearview.settings import load_settings

SETS = {"tuned": True, "untouched": False}


def main(arguments: list[str] | None = None) -> int:
    """Grade every scene of a folder and print the table; progress goes to standard error."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument(
        "--scenes",
        type=Path,
        default=None,
        help="folder made by python -m tests.scenes accuracy, broad or piled",
    )
    parser.add_argument("--only", choices=SETS, help="one set of scenes")
    parser.add_argument("--each", action="store_true", help="also a line for each tuned scene")
    parser.add_argument("--json", type=Path, help="write the figures to a file too")
    options = parser.parse_args(arguments)
    folder = options.scenes or scenes_folder()
    cv2.setNumThreads(1)
    scored = _score(folder, [SETS[options.only]] if options.only else list(SETS.values()))
    if not scored:
        print(
            f"no scenes in {folder}: make them with python -m tests.scenes accuracy --out {folder}",
            file=sys.stderr,
        )
        return 1
    written: dict[str, Any] = {}
    if options.each:
        print("\n".join(scene_lines(scored)) + "\n")
    for name, tuned in SETS.items():
        chosen = [s for s in scored if s.scene["tuned"] == tuned]
        if chosen:
            figures = figures_of(chosen)
            wanted = sum(s.tuned == tuned and not s.clean for s in _catalogue(scored))
            print(table(f"{name} ({wanted} in all)", figures))
            written[name] = _plain(asdict(figures))
    if options.json:
        options.json.write_text(json.dumps(written, indent=1, allow_nan=False) + "\n", "utf-8")
    return 0


def _score(folder: Path, sets: list[bool]) -> list[Scored]:
    settings = load_settings()
    scenes = [scene for scene in read_scenes(folder) if scene["tuned"] in sets]
    scored = []
    for k, scene in enumerate(scenes, start=1):
        print(f"\r{k}/{len(scenes)}", end="", file=sys.stderr, flush=True)
        scored.append(score_scene(folder, scene, settings))
    print(file=sys.stderr)
    return scored


def _catalogue(scored: Sequence[Scored]) -> tuple[Scene, ...]:
    """The catalogue that the scenes come from: the table says how many of it are missing."""
    named = {s.scene["id"] for s in scored}
    every = (accuracy_scenes(), broad_scenes(), piled_scenes())
    return max(every, key=lambda scenes: len(named & {s.id for s in scenes}))


def _plain(value: Any) -> Any:
    """JSON values: NaN becomes null, keys become strings."""
    if isinstance(value, dict):
        return {"dark" if key is None else str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return None if isinstance(value, float) and math.isnan(value) else value


if __name__ == "__main__":
    sys.exit(main())
