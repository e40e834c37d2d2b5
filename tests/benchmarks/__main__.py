"""Print times and peak memory beside their floors: ``python -m tests.benchmarks``. Nothing is asserted."""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from functools import reduce
from pathlib import Path

import cv2

from tests.accuracy.cache import scenes_folder
from tests.benchmarks.beside import beside_peer
from tests.benchmarks.clock import HEAD, NONE, Seconds, medians, now, row
from tests.benchmarks.keeping import keeping
from tests.benchmarks.photos import HEIGHT, WIDTH, write_photo
from tests.benchmarks.stages import STAGES, stage_seconds
from wearview.pipeline import grade_photos
from wearview.record import build_document, to_json
from wearview.settings import load_settings

REFERENCE = "reference-tan.jpg"
PHOTOS = {"one plate": REFERENCE, "five plates": "forward-pack-1.jpg"}
ASKED = {"find parts": "asked: at most 1.5 times"}
MEASURING = ("rectify", "kinds", "face", "which lining", "readings and grade", "pack")
REPEATS = 5
PACK = 8


def main() -> int:
    """Make the photos, time everything, print."""
    parser = argparse.ArgumentParser("python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--scenes", type=Path, help="folder with the scene of known truth for the peer")
    scenes = parser.parse_args().scenes or scenes_folder()
    cores = os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else set(range(os.cpu_count() or 1))
    _use({min(cores)})
    cv2.setNumThreads(1)
    print(f"one core, Python {platform.python_version()}, OpenCV {cv2.__version__}, medians of {REPEATS}")
    print(f"load of this machine before: {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory() as folder:
        for lines in (
            _stages(Path(folder)),
            _commands(Path(folder), cores),
            beside_peer(scenes, Path(folder)),
        ):
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
        spent: list[dict[str, Seconds]] = []
        imread, whole = [], []
        for _ in range(REPEATS):  # by turns, so that a busy machine slows both alike
            before = now()
            cv2.imread(file)
            start = now()
            with stage_seconds() as stages:
                graded = grade_photos([file], settings, lining=lining)
                done = now()
                text = to_json(build_document(graded, settings))
                end = now()
            imread.append(start.since(before))
            stages["document"] = end.since(done)
            stages["measured"] = reduce(Seconds.plus, (stages[stage] for stage in MEASURING))
            spent.append(stages)
            whole.append(end.since(start))
        floor = medians(imread)
        parts = len(json.loads(text)["photos"][0]["parts"])
        size = Path(file).stat().st_size / 1e6
        yield f"{name}: {WIDTH} x {HEIGHT}, {size:.1f} MB, {parts} found"
        yield HEAD
        yield row("cv2.imread", floor, floor)
        for stage in (*STAGES, "document"):
            yield row(f"  {stage}", medians(s[stage] for s in spent), floor, ASKED.get(stage, ""))
        yield row("measure: rectify to pack", medians(s["measured"] for s in spent), floor)
        yield row("photo to graded JSON", medians(whole), floor, "asked: at most 3 times")
        for label, seconds, least in keeping(folder / f"record-{parts}", file, graded, text):
            yield row(label, seconds, least)
        yield ""


def _commands(folder: Path, cores: set[int]) -> Iterator[str]:
    """Whole commands, each in a process of its own, on one core and on all."""
    wearview = (sys.executable, "-m", "wearview.cli")
    start = (sys.executable, "-c", "import cv2")
    clean = str(write_photo(REFERENCE, folder / "clean.jpg", seed=1))
    files = [str(write_photo(REFERENCE, folder / f"p{k}.jpg", seed=2 + k)) for k in range(PACK)]
    grade_one = (*wearview, "grade", files[0], "--reference", clean, "--json", "-")
    grade_pack = (*wearview, "grade", *files, "--reference", clean, "--json", "-")
    decode = (sys.executable, "-c", "import cv2, sys; [cv2.imread(f) for f in sys.argv[1:]]", clean, *files)
    _launch(grade_one)  # leaves the bytecode behind that an installed package comes with
    floor = medians(_launch(start)[0] for _ in range(REPEATS))
    helped = medians(_launch((*wearview, "--help"))[0] for _ in range(REPEATS))
    yield HEAD
    yield row('python -c "import cv2"', floor, floor)
    yield row("wearview --help", helped, floor, "asked: at most 1.5 times")
    yield row(f"start Python with cv2, read {PACK + 1}", _launch(decode)[0], floor)
    (_, one), (spent, eight) = _launch(grade_one), _launch(grade_pack)
    yield row(f"wearview grade, {PACK} plates, reference", spent, floor)
    yield row("  beyond start", spent.since(floor), NONE, "asked: at most 1500 ms")
    _use(cores)
    try:
        many, together = _launch(grade_pack)
    finally:
        _use({min(cores)})
    yield row(f"the same on {len(cores)} cores", many, floor)
    yield row("  beyond start", many.since(floor), NONE, "asked: at most 1500 ms")
    yield ""
    for label, peak in (
        ("one 12 MP photo and its reference", one),
        (f"{PACK} photos and their reference", eight),
        (f"the same on {len(cores)} cores", together),
    ):
        yield f"peak memory, {label:34}{peak:6.0f} MB   asked: at most 600 MB"
    yield ""


def _launch(command: Sequence[str]) -> tuple[Seconds, float]:
    """What a command takes, and the peak of its memory in MB."""
    launcher = [sys.executable, "-m", "tests.benchmarks.launch", *command]
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    told = subprocess.run(launcher, check=True, capture_output=True, text=True, env=environment).stdout
    result = json.loads(told)
    if result["status"] != 0:
        raise RuntimeError(f"{' '.join(command)} ended with status {result['status']}")
    return Seconds(result["wall"], result["cpu"]), result["peak_mb"]


def _use(cores: set[int]) -> None:
    """What this process and those that it starts run on."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, cores)


if __name__ == "__main__":
    sys.exit(main())
