"""Print times and peak memory beside their floors: ``python -m tests.benchmarks``. Nothing is asserted."""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import cv2

from tests.accuracy.cache import scenes_folder
from tests.benchmarks.beside import beside_peer
from tests.benchmarks.keeping import keeping
from tests.benchmarks.photos import HEIGHT, WIDTH, write_photo
from tests.benchmarks.stages import STAGES, stage_seconds
from wearview.pipeline import grade_photos
from wearview.record import build_document, to_json
from wearview.settings import load_settings

REFERENCE = "reference-tan.jpg"
PHOTOS = {"one plate": REFERENCE, "five plates": "forward-pack-1.jpg"}
ASKED = {"find parts": "asked: at most 1.5 times"}
MEASURING = ("rectify", "kinds", "face", "readings and grade", "pack")
REPEATS = 5
PACK = 8


def main() -> int:
    """Make the photos, time everything, print."""
    parser = argparse.ArgumentParser("python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--scenes", type=Path, help="folder with the scene of known truth for the peer")
    scenes = parser.parse_args().scenes or scenes_folder()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    cv2.setNumThreads(1)
    print(f"one core, Python {platform.python_version()}, OpenCV {cv2.__version__}, medians of {REPEATS}")
    print(f"load of this machine before: {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory() as folder:
        for lines in (_stages(Path(folder)), _commands(Path(folder)), beside_peer(scenes, Path(folder))):
            for line in lines:
                print(line, flush=True)
    return 0


def _stages(folder: Path) -> Iterator[str]:
    """Photo to graded JSON, in this process, as a multiple of decoding the file."""
    settings = load_settings()
    clean = str(write_photo(REFERENCE, folder / "clean.jpg", seed=1))
    lining = grade_photos([clean], settings, reference=clean).reference
    for name, demo in PHOTOS.items():
        file = str(write_photo(demo, folder / "photo.jpg"))
        spent: list[Counter[str]] = []
        imread, whole = [], []
        for _ in range(REPEATS):  # by turns, so that a busy machine slows both alike
            before = time.perf_counter()
            cv2.imread(file)
            start = time.perf_counter()
            with stage_seconds() as stages:
                graded = grade_photos([file], settings, lining=lining)
                done = time.perf_counter()
                text = to_json(build_document(graded, settings))
                end = time.perf_counter()
            imread.append(start - before)
            stages["document"] = end - done  # type: ignore[assignment]
            spent.append(stages)
            whole.append(end - start)
        floor, total = statistics.median(imread), statistics.median(whole)
        parts = len(json.loads(text)["photos"][0]["parts"])
        size = Path(file).stat().st_size / 1e6
        yield f"{name}: {WIDTH} x {HEIGHT}, {size:.1f} MB, {parts} found"
        yield _row("cv2.imread", floor, floor)
        for stage in (*STAGES, "document"):
            asked = ASKED.get(stage, "")
            yield _row(f"  {stage}", statistics.median(s[stage] for s in spent), floor, asked)
        measured = statistics.median(sum(s[stage] for stage in MEASURING) for s in spent)
        yield _row("measure: the last four and pack", measured, floor)
        yield _row("photo to graded JSON", total, floor, "asked: at most 3 times, 6 to begin with")
        for label, seconds, least in keeping(folder / f"record-{parts}", file, graded, text):
            yield _row(label, seconds, least)
        yield ""


def _row(label: str, seconds: float, floor: float, asked: str = "") -> str:
    return f"{label:34}{seconds * 1000:9.0f} ms {seconds / floor:8.2f} x   {asked}".rstrip()


def _commands(folder: Path) -> Iterator[str]:
    """Whole commands, each in a process of its own."""
    wearview = (sys.executable, "-m", "wearview.cli")
    start = (sys.executable, "-c", "import cv2")
    floors = [_launch(start)["seconds"] for _ in range(REPEATS)]
    helps = [_launch((*wearview, "--help"))["seconds"] for _ in range(REPEATS)]
    floor = statistics.median(floors)
    yield _row('python -c "import cv2"', floor, floor)
    yield _row("wearview --help", statistics.median(helps), floor, "asked: at most 1.5 times")
    yield ""
    clean = str(write_photo(REFERENCE, folder / "clean.jpg", seed=1))
    files = [str(write_photo(REFERENCE, folder / f"p{k}.jpg", seed=2 + k)) for k in range(PACK)]
    one = _launch((*wearview, "grade", files[0], "--reference", clean, "--json", "-"))
    pack = _launch((*wearview, "grade", *files, "--reference", clean, "--json", "-"))
    decode = _launch(
        (sys.executable, "-c", "import cv2, sys; [cv2.imread(f) for f in sys.argv[1:]]", clean, *files)
    )
    yield f"peak memory, one 12 MP photo and its reference {one['peak_mb']:6.0f} MB   asked: at most 600 MB"
    yield f"peak memory, {PACK} photos and their reference     {pack['peak_mb']:6.0f} MB"
    yield ""
    yield _row(f"start Python with cv2, read {PACK + 1}", decode["seconds"], floor)
    yield _row(f"wearview grade, {PACK} plates, reference", pack["seconds"], floor)
    beyond = pack["seconds"] - floor
    yield f"{'  beyond start':34}{beyond * 1000:9.0f} ms              asked: at most 1500 ms"
    yield f"{'  beyond start, per photo':34}{beyond / (PACK + 1) * 1000:9.0f} ms"
    yield ""


def _launch(command: Sequence[str]) -> dict[str, Any]:
    launcher = [sys.executable, "-m", "tests.benchmarks.launch", *command]
    result = json.loads(subprocess.run(launcher, check=True, capture_output=True, text=True).stdout)
    if result["status"] != 0:
        raise RuntimeError(f"{' '.join(command)} ended with status {result['status']}")
    return dict(result)


if __name__ == "__main__":
    sys.exit(main())
