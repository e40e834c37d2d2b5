"""Grades trays in the background: each photo as soon as it came, the pack once no more are coming."""

import hashlib
import itertools
import logging
import queue
import threading
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from functools import cache
from typing import Any

from wearview.errors import WearviewError
from wearview.record import Document
from wearview.report.pictures import small_picture
from wearview.store import (
    GradedPhoto,
    Store,
    add_grading,
    get_whole_teardown,
    open_store,
    photo_bytes,
    photo_path,
)
from wearview.ui import tray
from wearview.ui.grading import Asked, Grader, Picture
from wearview.ui.tray import ElementName, GivenPhoto, Tray

# How long after the last photo the pack is graded by itself. Laying the next plate under a phone takes a few
# seconds; whoever is done sooner says so by a tap.
QUIET_S = 12.0
SMALL_WIDTH = 640  # px, the overlay of a photo in a list
NEVER, SOON, NOW = "never", "soon", "now"  # when a tray that is looked at is graded as a pack


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What one photo shows, graded alone: the contract's document, and the sha256 of the small overlay that
    the bench holds until the pack is stored; or why it could not be read, with what to do."""

    document: Document | None
    overlay: str | None
    problem: str | None


@dataclass(frozen=True, slots=True)
class Work:
    """How far the work on a tray is.

    Attributes
    ----------
    doing : str
        What is being done, for people; empty when nothing is.
    share : float
        How much of it is done, 0 to 1.
    error : str or None
        Why the pack could not be graded.
    """

    doing: str = ""
    share: float = 0.0
    error: str | None = None


_WAITING = Work("Waiting for its turn")


class Bench:
    """Grades what lies in the trays of one record, one thing at a time, in a thread of its own."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._grader = Grader()
        self._calls: queue.Queue[tuple[ElementName, str]] = queue.Queue()
        self._seen: dict[tuple[str, str], Seen] = {}
        self._overlays: dict[str, bytes] = {}
        self._work: dict[ElementName, Work] = {}
        self._due: dict[ElementName, float] = {}
        self._looked: dict[ElementName, str] = {}
        self._lock = threading.Lock()
        self._waiting: Counter[ElementName] = Counter()
        self._ended = False
        self._thread = threading.Thread(target=self._run, name="bench", daemon=True)
        self._thread.start()

    def start(self) -> None:
        """Start the process that grades, before there is anything to grade."""
        self._grader.start()

    def wake(self, place: ElementName, *, now: bool = False) -> None:
        """Have a tray looked at; `now` has its pack graded without waiting for further photos."""
        self._work.setdefault(place, _WAITING)
        self._call(place, NOW if now else SOON)

    def look(self, place: ElementName, lying: Tray) -> None:
        """Have photos graded that another bench was given, to be shown here too: once for each state of a
        tray. Its pack is graded where its photos were given, or where somebody asks for it."""
        if self._looked.get(place) != lying.signature:
            self._looked[place] = lying.signature
            if next(self._unseen(lying), None) or self._moved(self.readable(lying)):
                self._call(place, NEVER)

    def _call(self, place: ElementName, pack: str) -> None:
        with self._lock:
            self._waiting[place] += 1
        self._calls.put((place, pack))

    def work(self, place: ElementName) -> Work:
        """How far the work on a tray is."""
        work = self._work.get(place, Work())
        return _WAITING if self._waiting[place] and not work.doing else work

    def untouched(self, place: ElementName) -> bool:
        """Whether a tray was not looked at since the program was started."""
        return place not in self._work

    def seen(self, lying: Tray, photo: GivenPhoto) -> Seen | None:
        """What a photo shows; None while it was not graded."""
        return self._seen.get(self._key(lying, photo))

    def overlay(self, sha256: str) -> bytes:
        """The small overlay of a photo that was graded alone, as JPEG.

        Raises
        ------
        KeyError
            When it is not held, or no more.
        """
        return self._overlays[sha256]

    def readable(self, lying: Tray) -> Tray:
        """The tray without photos that are known to be unreadable."""
        return replace(lying, photos=tuple(p for p in lying.photos if not self._is_refused(lying, p)))

    def wait(self, place: ElementName, seconds: float = 600) -> None:
        """Wait until everything that was asked of a tray is done.

        Raises
        ------
        TimeoutError
            When it is not by then.
        """
        deadline = time.monotonic() + seconds
        while self._waiting[place] or place in self._due:
            if time.monotonic() > deadline:
                raise TimeoutError("the bench is still at work")
            time.sleep(0.02)

    def close(self) -> None:
        """End the work, once what is being graded is done; nothing is graded from then on."""
        self._ended = True
        self._calls.put((ElementName("", ""), NEVER))  # so that a sleeping thread looks up
        self._thread.join()
        self._grader.close()

    def _run(self) -> None:
        while not self._ended:
            try:
                place, pack = self._calls.get(timeout=self._patience())
            except queue.Empty:
                for place in [p for p, due in self._due.items() if due <= time.monotonic()]:
                    self._in_words(place, NOW)
            else:
                # Photos that have come meanwhile go first: their owner is waiting at the bench.
                if not self._ended:
                    self._in_words(place, pack)
                with self._lock:
                    self._waiting[place] -= 1

    def _patience(self) -> float | None:
        """Seconds until the next pack is due."""
        return max(0.0, min(self._due.values()) - time.monotonic()) if self._due else None

    def _in_words(self, place: ElementName, pack: str) -> None:
        try:
            if pack == NOW:
                self._pack(place)
            self._photos(place)
            self._work[place] = Work()
        except WearviewError as error:
            self._work[place] = Work(error=str(error))
        except Exception as error:  # the thread has to live: other elements are waiting for it
            logging.getLogger(__name__).exception("grading %s", place)
            self._work[place] = Work(error=f"Grading failed unexpectedly ({type(error).__name__}).")
        if pack == SOON and self._work[place].error is None and self._wanted(place):
            self._due[place] = time.monotonic() + QUIET_S
        elif pack != NEVER:
            self._due.pop(place, None)

    def _wanted(self, place: ElementName) -> bool:
        lying = self.readable(tray.read_tray(self.store, place))
        return bool(lying.photos) and lying.graded_as != lying.signature

    def _photos(self, place: ElementName) -> None:
        """Grade the photos of a tray that were not graded yet, then those whose positions have changed."""
        lying = tray.read_tray(self.store, place)
        if not lying.photos:
            self._prepare(lying)
        self._recall(place, lying)
        # What cannot be read leaves the photo whose second light it is, or has, to be graded by itself.
        while (photo := next(self._unseen(lying := self.readable(lying)), None)) is not None:
            views = [view for view, _ in lying.views]
            seen = sum(self.seen(lying, other) is not None for other in views)
            told = f"Grading {photo.name}: {seen} of {len(views)} photos done"
            self._work[place] = Work(told, seen / len(views))
            self._photo(place, lying, photo)
        # Nobody waits for a number while there is something else to do.
        while self._calls.empty() and (photo := self._moved(lying)) is not None:
            self._work[place] = Work(f"Counting the positions in {photo.name}")
            self._photo(place, lying, photo)

    def _photo(self, place: ElementName, lying: Tray, photo: GivenPhoto) -> None:
        """Grade one photo alone."""
        second = lying.second_lights.get(photo.sha256)
        alone = replace(
            self._asked(lying),
            photos=(self._picture(photo),),
            seconds=(self._second(lying, photo),),
            begins=self._begins(lying)[dict(lying.views)[photo].parts],
        )
        try:
            answer = self._grader.grade(alone)
        except WearviewError as error:
            if error.subject == lying.clean:
                raise
            self._refuse(lying, photo, str(error))
            return
        # A phone gives all its photos one name, so which one is unread the document tells.
        [entry] = answer.document["photos"] or [None]
        if second is not None and entry is not None and "second_light" not in entry:
            self._refuse(lying, second, answer.unread[second.name])
        if entry is None and photo.name in answer.unread:
            self._refuse(lying, photo, answer.unread[photo.name])
            return
        overlay = answer.overlays.get(photo.sha256)
        small = None if overlay is None else self._hold(small_picture(overlay.read_bytes(), SMALL_WIDTH))
        self._see(self._key(lying, photo), Seen(answer.document, small, None))
        if entry is not None and entry["taken_at"] and not photo.taken_at:
            tray.note_taken(self.store, place, photo.sha256, entry["taken_at"])

    def _prepare(self, lying: Tray) -> None:
        """Look at the clean plate, or load at least, while the first photo is still being taken."""
        if lying.reference is None:
            self._grader.start()
        else:
            self._grader.grade(self._asked(lying))

    def _recall(self, place: ElementName, lying: Tray) -> None:
        """What the record holds of a tray's photos needs no grading after the program was started anew."""
        if lying.graded_alone != lying.alone or not any(True for _ in self._unseen(lying)):
            return
        elements = get_whole_teardown(self.store, place.teardown).elements
        stored = next((e.latest for e in elements if e.name == place.element), None)
        entries = {entry["sha256"]: entry for entry in stored.document["photos"]} if stored else {}
        for photo in list(self._unseen(lying)):
            second = lying.second_lights.get(photo.sha256)
            entry = entries.get(photo.sha256)
            if stored and entry and _lit_by(entry) == (second and second.sha256):
                alone = stored.document | {"photos": [entry]}
                self._seen[self._key(lying, photo)] = Seen(alone, None, None)

    def _unseen(self, lying: Tray) -> Iterator[GivenPhoto]:
        return (photo for photo, _ in lying.views if self._key(lying, photo) not in self._seen)

    def _pack(self, place: ElementName) -> None:
        """Grade a tray's photos together and store the result."""
        lying = self.readable(tray.read_tray(self.store, place))
        if not lying.photos or lying.graded_as == lying.signature:
            return

        def advance(done: int, total: int, name: str) -> None:
            self._work[place] = Work("Grading the pack", done / total)

        advance(0, len(lying.photos), "")
        views = lying.views
        asked = replace(
            self._asked(lying),
            photos=tuple(self._picture(photo) for photo, _ in views),
            seconds=tuple(self._second(lying, photo) for photo, _ in views),
            kinds=lying.layout.kinds,
            positions=lying.layout.positions,
            shows=tuple(shows for _, shows in views) if lying.again else None,
        )
        answer = self._grader.grade(asked, advance)
        for photo in lying.photos:
            if problem := answer.unread.get(photo.name):
                self._refuse(lying, photo, problem)
        given, lying = lying, self.readable(lying)
        found = {entry["sha256"] for entry in answer.document["photos"]}
        if len(lying.photos) < len(given.photos) and found != {photo.sha256 for photo, _ in lying.views}:
            self._pack(place)  # a photo whose first light could not be read was not looked at
            return
        if not lying.photos or tray.read_tray(self.store, place).graded_as == lying.signature:
            return  # another bench was quicker
        kept = (  # one photo at a time in memory
            GradedPhoto(photo_bytes(self.store, sha256), overlay.read_bytes())
            for sha256, overlay in answer.overlays.items()
        )
        lights = (
            GradedPhoto(photo_bytes(self.store, light.sha256)) for light in lying.second_lights.values()
        )
        add_grading(self.store, place.teardown, place.element, answer.document, itertools.chain(kept, lights))
        tray.note_graded(self.store, place, lying)
        by_sha = {photo.sha256: photo for photo in lying.photos}
        for entry in answer.document["photos"]:  # the record has the overlays now
            key, alone = self._key(lying, by_sha[entry["sha256"]]), answer.document | {"photos": [entry]}
            self._see(key, Seen(alone, None, None))

    def _see(self, key: tuple[str, str], seen: Seen) -> None:
        """Keep what a photo shows, and let go of the overlay that was drawn of it before."""
        before = self._seen.get(key)
        self._seen[key] = seen
        if before is not None and before.overlay is not None and before.overlay != seen.overlay:
            self._overlays.pop(before.overlay, None)

    def _key(self, lying: Tray, photo: GivenPhoto) -> tuple[str, str]:
        """What the grading of one photo alone depends on: a second light only where both can be read."""
        second = lying.second_lights.get(photo.sha256)
        if second is None or any(self._is_refused(lying, one) for one in (photo, second)):
            return _by_itself(lying, photo)
        sha256, told = _by_itself(lying, photo)
        return sha256, f"{told} {second.sha256}"

    def _refuse(self, lying: Tray, photo: GivenPhoto, problem: str) -> None:
        self._seen[_by_itself(lying, photo)] = Seen(None, None, problem)

    def _is_refused(self, lying: Tray, photo: GivenPhoto) -> bool:
        seen = self._seen.get(_by_itself(lying, photo))
        return seen is not None and seen.document is None

    def _hold(self, overlay: bytes) -> str:
        sha256 = hashlib.sha256(overlay).hexdigest()
        self._overlays[sha256] = overlay
        return sha256

    def _begins(self, lying: Tray) -> dict[int, int]:
        """The position of the first of the parts that photos show, by `Shows.parts`, as far as the photos
        before them in the pack have been seen."""
        counts: dict[int, int] = {}
        views = lying.views
        for photo, shows in views if lying.layout.first == "apply" else reversed(views):
            counts[shows.parts] = max(counts.get(shows.parts, 0), self._parts(lying, photo))
        return dict(zip(counts, itertools.accumulate(counts.values(), initial=1), strict=False))

    def _parts(self, lying: Tray, photo: GivenPhoto) -> int:
        """How many parts a photo shows; before it was seen one, most likely."""
        seen = self.seen(lying, photo)
        return 1 if seen is None else len(_positions(seen))

    def _moved(self, lying: Tray) -> GivenPhoto | None:
        """A photo that shows other positions than its parts have by now, since one before it came, was moved
        or left out; None where a person stated positions, and where the pack was graded as it lies."""
        if lying.layout.positions is not None or lying.graded_as == lying.signature:
            return None
        firsts: dict[int, dict[GivenPhoto, int]] = {}
        for photo, shows in lying.views:
            if positions := _positions(self.seen(lying, photo)):
                firsts.setdefault(shows.parts, {})[photo] = min(positions)
        begins = self._begins(lying)
        for parts, first in firsts.items():
            # A shot that misses the first of its parts begins later, and rightly so.
            if min(first.values()) != begins[parts]:
                return next(photo for photo, at in first.items() if at != begins[parts])
        return None

    def _asked(self, lying: Tray) -> Asked:
        clean = self._picture(lying.reference) if lying.reference else None
        said = {sha256: asdict(said) for sha256, said in lying.said.items()}
        return Asked((), clean, lying.lining, lying.layout.apply_end, lying.layout.first, said=said)

    def _second(self, lying: Tray, photo: GivenPhoto) -> Picture | None:
        second = lying.second_lights.get(photo.sha256)
        return None if second is None else self._picture(second)

    def _picture(self, photo: GivenPhoto) -> Picture:
        return Picture(str(photo_path(self.store, photo.sha256)), photo.name)


def _by_itself(lying: Tray, photo: GivenPhoto) -> tuple[str, str]:
    """What the grading of one photo depends on that has no second light."""
    return photo.sha256, f"{lying.alone} {lying.said.get(photo.sha256)}"


def _positions(seen: Seen | None) -> list[int]:
    """The positions of the parts that a photo shows."""
    photos = [] if seen is None or seen.document is None else seen.document["photos"]
    return [part["position"] for photo in photos for part in photo["parts"]]


def _lit_by(entry: Mapping[str, Any]) -> str | None:
    """The sha256 of a graded photo's second light."""
    second = entry.get("second_light")
    return None if second is None else second["sha256"]


@cache
def bench_of(url: str | None) -> Bench:
    """The one bench of a record in this program."""
    return Bench(open_store(url))
