"""Photos graded in a minute by one worker process and by two, and what their memory does meanwhile:
``python -m tests.benchmarks.batch``. Nothing is asserted. Memory is read from /proc (Linux).

The floor is the same files read by `cv2.imread` in the same processes: how much of a second core this machine
has to give at the time shows there.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context
from pathlib import Path

import cv2

from tests.benchmarks.photos import write_photo
from wearview.pipeline import grade_photos
from wearview.record import build_document, to_json
from wearview.reference import Reference
from wearview.settings import load_settings

PLATE = "reference-tan.jpg"
DIFFERENT = 8  # files, read over and over: their noise differs, their parts do not
ROOM_FOR = 10  # lines of memory over the run


@cache
def _lining(clean: str) -> Reference:
    return grade_photos([clean], load_settings(), reference=clean).reference


def graded(file: str, clean: str) -> int:
    """Length of a photo's document: what a worker does with it."""
    settings = load_settings()
    return len(to_json(build_document(grade_photos([file], settings, lining=_lining(clean)), settings)))


def decoded(file: str, clean: str) -> int:
    """The floor."""
    return cv2.imread(file).size


def _work(what: Callable[[str, str], int], file: str, clean: str) -> tuple[int, float]:
    """Who did it, and the peak of its memory in MB so far."""
    what(file, clean)
    # Not by getrusage, which counts what the process that started this one held.
    status = Path("/proc/self/status").read_text("utf-8")
    return os.getpid(), int(status.partition("VmHWM:")[2].split()[0]) / 1024


def main() -> int:
    """Make the photos, grade them with one worker and with two, print."""
    parser = argparse.ArgumentParser("python -m tests.benchmarks.batch", description=__doc__)
    parser.add_argument("--photos", type=int, default=500)
    count = parser.parse_args().photos
    print(f"{count} photos of 12 megapixels and one plate; load before: {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        clean = str(write_photo(PLATE, folder / "clean.jpg", seed=1000))
        files = [str(write_photo(PLATE, folder / f"{n}.jpg", seed=n)) for n in range(DIFFERENT)]
        batch = [files[n % DIFFERENT] for n in range(count)]
        for label, what in (("cv2.imread", decoded), ("photo to graded JSON", graded)):
            rates = []
            for workers in (1, 2):
                rate, memory = _rate(what, batch, clean, workers)
                rates.append(rate)
                asked = "   asked: 1.70" if what is graded else ""
                print(
                    f"{label:22}{workers} workers {rate:7.0f} photos a minute, {rate / rates[0]:.2f} of one"
                    f"{asked}",
                    flush=True,
                )
            if what is graded:
                for done, peak in memory:
                    print(f"  after {done:4} photos a worker's memory has peaked at {peak:5.0f} MB")
    print(f"load after: {os.getloadavg()[0]:.1f} (counts only where it is that of this run alone)")
    return 0


def _rate(
    what: Callable[[str, str], int], batch: Sequence[str], clean: str, workers: int
) -> tuple[float, list[tuple[int, float]]]:
    """Photos a minute once all workers have started, and the largest worker's memory as it went on."""
    with ProcessPoolExecutor(workers, get_context("spawn"), cv2.setNumThreads, (1,)) as pool:
        started: set[int] = set()
        while len(started) < workers:  # one may take several before another has started
            ready = [pool.submit(_work, what, batch[0], clean) for _ in range(workers)]
            started |= {future.result()[0] for future in ready}
        began = time.perf_counter()
        memory, peak = [], 0.0
        futures = [pool.submit(_work, what, file, clean) for file in batch]
        for done, future in enumerate(futures, start=1):
            peak = max(peak, future.result()[1])
            if done % max(1, len(batch) // ROOM_FOR) == 0:
                memory.append((done, peak))
        return 60 * len(batch) / (time.perf_counter() - began), memory


if __name__ == "__main__":
    sys.exit(main())
