"""Drawing a graded photo and storing it, each beside what cannot be done without."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.benchmarks.clock import Seconds, medians, now
from wearview import store as record
from wearview.draw import overlay_photo
from wearview.files import write_whole
from wearview.record import Graded
from wearview.report import jpeg

REPEATS = 5
PHOTO, OVERLAY = "JPEG of the working copy", "draw: overlay as JPEG"
FILES, ROWS = "photo and overlay to the disk", "store: both and their rows"


def keeping(folder: Path, file: str, graded: Graded, text: str) -> Iterator[tuple[str, Seconds, Seconds]]:
    """What is done, its median seconds and its floor's; each time another photo of the same parts."""
    folder.mkdir()
    store = record.open_store(f"sqlite:///{folder}/record.sqlite")
    record.new_teardown(store, "job")
    times: dict[str, list[Seconds]] = {what: [] for what in (PHOTO, OVERLAY, FILES, ROWS)}
    for n in range(REPEATS):
        original = Path(file).read_bytes() + bytes([n])  # after a JPEG's end
        sha256 = hashlib.sha256(original).hexdigest()
        own = text.replace(graded.photos[0].sha256, sha256)
        document = json.loads(own.replace(graded.photos[0].sha256[:12], sha256[:12]))  # ids of parts
        record.add_element(store, "job", f"pack {n}")
        with _timed(times[PHOTO]):
            jpeg(graded.photos[0].working)
        with _timed(times[OVERLAY]):
            overlay = jpeg(overlay_photo(graded.photos[0]))
        with _timed(times[FILES]):
            write_whole(folder / f"{n}.jpg", original)
            write_whole(folder / f"{n}-overlay.jpg", overlay)
        with _timed(times[ROWS]):
            kept = record.GradedPhoto(original, overlay)
            record.add_grading(store, "job", f"pack {n}", document, [kept])
    seconds = {what: medians(each) for what, each in times.items()}
    for floor, what in ((PHOTO, OVERLAY), (FILES, ROWS)):
        yield floor, seconds[floor], seconds[floor]
        yield what, seconds[what], seconds[floor]


@contextmanager
def _timed(into: list[Seconds]) -> Iterator[None]:
    start = now()
    yield
    into.append(now().since(start))
