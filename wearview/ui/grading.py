"""Photos of a tray through the pipeline, in a process of its own.

The page stays quick while photos are graded, a photo that brings a library down takes no page with it, and
the memory that grading needs is given back. `python -m wearview.ui.grading` is that process: one JSON line
in for each thing asked, lines of progress and one answer out. `Grader` speaks with it.
"""

import hashlib
import json
import subprocess
import sys
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from functools import lru_cache
from itertools import zip_longest
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from wearview.errors import (
    CallError,
    CleanReferenceError,
    ModelsError,
    OutputError,
    PhotoError,
    WearviewError,
)
from wearview.record import Document, Shows

if TYPE_CHECKING:
    from wearview.look import Clean, Source
    from wearview.parts import Corrections
    from wearview.record import GradedPhoto

# Without a clean plate's photo every photo of a pack, 12 to 35 MB, waits in memory for the others. From so
# many on, the memory that the process then keeps is worth the second that a new one takes to start.
MANY = 12
KEPT = 64  # photos whose grading is kept for the pack: a MB each, with an overlay of another on disk
NOWHERE = 0  # the position of a photo without a part, wherever it lies
PATIENCE_S = 5  # for a process that was told to go
Advance = Callable[[int, int, str], None]
_RAISED = {
    kind.__name__: kind for kind in (PhotoError, CleanReferenceError, CallError, ModelsError, OutputError)
}


@dataclass(frozen=True, slots=True)
class Picture:
    """A kept photo: where it lies, and the name it came with."""

    path: str
    name: str


@dataclass(frozen=True, slots=True)
class Asked:
    """Photos to be graded as one pack: as `pipeline.grade_photos` takes them.

    `said` holds what a person put right in a photo, by its sha256: a dict of `rims`, `no_parts` and `bands`;
    `begins` is the first position where `positions` does not say it. `shows` is what each photo shows, where
    some show the same parts. `seconds` holds, for each photo, the one for which only the lamp was moved.
    `lining` is one of the shop's library.
    """

    photos: tuple[Picture, ...]
    reference: Picture | None = None
    lining: str | None = None
    apply_end: str | None = None
    first: str = "apply"
    kinds: tuple[str, ...] | None = None
    positions: tuple[int, ...] | None = None
    begins: int = 1
    shows: tuple[Shows, ...] | None = None
    seconds: tuple[Picture | None, ...] = ()
    said: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What came of it.

    Attributes
    ----------
    document : dict
        The contract's.
    overlays : dict of str to Path
        JPEG files by the photo's sha256, there until the next thing is asked.
    unread : dict of str to str
        Photos that could not be read, by name, with what to do in words.
    """

    document: Document
    overlays: dict[str, Path]
    unread: dict[str, str]


class Grader:
    """Asks a process of its own to grade; starts it when first asked, and again after it has died."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None
        self._turn = threading.Lock()
        self._had_many = False

    def grade(self, asked: Asked, advance: Advance = lambda done, total, name: None) -> Answer:
        """Grade, one thing asked at a time.

        Raises
        ------
        WearviewError
            As the pipeline raised it; or when the process died.
        """
        with self._turn:
            if self._had_many:
                self.close()  # only now: overlays that were answered lay in its folder
            self._had_many = asked.reference is None and len(asked.photos) > MANY
            process = self._running()
            assert process.stdin is not None
            assert process.stdout is not None
            try:
                process.stdin.write(json.dumps(asdict(asked)) + "\n")
                process.stdin.flush()
                answer = _answer(process.stdout, advance)
            except (OSError, EOFError) as error:
                self.close()
                name = asked.photos[0].name if asked.photos else "grading"
                raise OutputError(
                    name, "grading stopped in the middle of it", "Try again; if it stops again, leave it out"
                ) from error
            return answer

    def start(self) -> None:
        """Have the process ready before anything is asked: loading the stages takes a second or two."""
        with self._turn:
            self._running()

    def close(self) -> None:
        """End the process; it goes by itself once nothing can be asked any more."""
        process, self._process = self._process, None
        if process is None:
            return
        try:
            process.communicate(timeout=PATIENCE_S)
        except (subprocess.TimeoutExpired, OSError):
            process.kill()
            process.communicate()

    def _running(self) -> "subprocess.Popen[str]":
        if self._process is None or self._process.poll() is not None:
            self.close()
            self._process = subprocess.Popen(
                [sys.executable, "-m", "wearview.ui.grading"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                encoding="utf-8",
            )
        return self._process


def _answer(lines: IO[str], advance: Advance) -> Answer:
    for line in lines:
        told = json.loads(line)
        if "done" in told:
            advance(told["done"], told["total"], told["name"])
        elif "raised" in told:
            raise _RAISED.get(told["raised"], WearviewError)(*told["words"])
        else:
            overlays = {sha256: Path(path) for sha256, path in told["overlays"].items()}
            return Answer(told["document"], overlays, told["unread"])
    raise EOFError


class _Shelf:
    """Photos graded by this process, without their pictures, and the overlays drawn of them.

    A pack takes from it what was graded photo by photo, and what no correction has touched, where a photo of
    a clean plate was given, the position is the same and no other photo shows the same parts.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lies: OrderedDict[str, tuple[GradedPhoto, Path]] = OrderedDict()

    def find(self, key: str) -> "tuple[GradedPhoto, Path] | None":
        """What was kept under a key."""
        if key in self._lies:
            self._lies.move_to_end(key)
        return self._lies.get(key)

    def put(self, key: str, photo: "GradedPhoto") -> "tuple[GradedPhoto, Path]":
        """Draw a photo and keep the rest of it."""
        from wearview.draw import overlay_photo
        from wearview.record import without_pictures
        from wearview.report import jpeg

        path = self._folder / f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.jpg"
        path.write_bytes(jpeg(overlay_photo(photo)))
        self._lies[key] = without_pictures(photo), path
        return self._lies[key]

    def tidy(self) -> None:
        """Let go of the oldest. Before a thing is asked: what was answered last may lie here until then."""
        while len(self._lies) > KEPT:
            _, (_, path) = self._lies.popitem(last=False)
            path.unlink(missing_ok=True)


def _grade(asked: Mapping[str, Any], shelf: _Shelf, tell: Callable[[Mapping[str, Any]], None]) -> None:
    """Grade in this process; the stages are loaded here alone."""
    from wearview.library import find_lining, own_linings
    from wearview.photo import PhotoFile
    from wearview.pipeline import grade_photos
    from wearview.record import Place, build_document
    from wearview.shop import shop_settings

    settings = shop_settings()
    by = f"{settings.rules.sha256} {settings.mat}"  # which the shop may change while this process runs
    shelf.tidy()
    overlays: dict[str, str] = {}
    shows = None if asked["shows"] is None else [Shows(**one) for one in asked["shows"]]
    same_parts = _same_parts(asked["photos"], shows)
    lights = zip_longest(asked["photos"], asked["seconds"])
    second = {Path(one["path"]).name: light and light["path"] for one, light in lights}

    def key(sha256: str, name: str, position: int) -> str:
        alone = [asked[what] for what in ("reference", "lining", "apply_end", "kinds", "positions")]
        alone += [same_parts.get(sha256), second.get(sha256)]
        return json.dumps([sha256, name, position, asked["said"].get(sha256), by, alone])

    def known(source: "Source", position: int) -> "GradedPhoto | None":
        if asked["reference"] is None:
            return None  # a photo is then judged by the light and the linings of the others
        assert isinstance(source, PhotoFile)
        sha256 = Path(source.path).name
        found = shelf.find(key(sha256, source.name, position)) or shelf.find(
            key(sha256, source.name, NOWHERE)
        )
        if found is None:
            return None
        overlays[sha256] = str(found[1])
        return found[0]

    def finish(photo: "GradedPhoto") -> "GradedPhoto":
        first = photo.parts[0].position if photo.parts else NOWHERE
        graded, path = shelf.put(key(photo.sha256, photo.file, first), photo)
        overlays[photo.sha256] = str(path)
        return graded

    graded = grade_photos(
        [PhotoFile(**picture) for picture in asked["photos"]],
        settings,
        reference=_clean(**asked["reference"], by=by) if asked["reference"] else None,
        lining=find_lining(asked["lining"], settings) if asked["lining"] else None,
        own=own_linings(),
        seconds=[light and PhotoFile(**light) for light in asked["seconds"]],
        apply_end=asked["apply_end"],
        first=asked["first"],
        kinds=asked["kinds"],
        places=None if asked["positions"] is None else [Place(p) for p in asked["positions"]],
        shows=shows,
        corrections={sha256: _corrections(**said) for sha256, said in asked["said"].items()},
        begins=asked["begins"],
        known=known,
        finish=finish,
        progress=lambda done, total, name: tell({"done": done, "total": total, "name": name}),
    )
    tell(
        {
            "document": build_document(graded, settings),
            "overlays": overlays,
            "unread": {error.subject: str(error) for error in graded.unread},
        }
    )


def _same_parts(
    photos: Sequence[Mapping[str, str]], shows: Sequence[Shows] | None
) -> dict[str, list[tuple[str, str | None]]]:
    """For each photo whose parts others show too, by its sha256: all of them, each with its side."""
    together: dict[int, list[tuple[str, str | None]]] = {}
    for photo, one in zip(photos, shows or (), strict=shows is not None):
        together.setdefault(one.parts, []).append((Path(photo["path"]).name, one.side))
    return {sha256: group for group in together.values() if len(group) > 1 for sha256, _ in group}


@lru_cache(maxsize=8)
def _clean(path: str, name: str, by: str) -> "Clean":
    """The clean lining of a kept photo, looked at once by these rules and mat; its path holds its hash."""
    from wearview.look import clean_from_photo
    from wearview.photo import PhotoFile
    from wearview.shop import shop_settings

    return clean_from_photo(PhotoFile(path, name), shop_settings())


def _corrections(rims: list[list[Any]], no_parts: list[Any], bands: list[list[Any]]) -> "Corrections":
    from wearview.parts import BandEdges, Corrections, Rims

    def points(listed: list[Any]) -> tuple[tuple[float, float], ...]:
        return tuple((x, y) for x, y in listed)

    return Corrections(
        tuple(Rims(points(outer), points(inner)) for outer, inner in rims),
        points(no_parts),
        tuple(BandEdges(points(one), points(other)) for one, other in bands),
    )


def _serve() -> None:
    """Answer what is asked on standard input until it is closed."""
    out = sys.stdout
    sys.stdout = sys.stderr  # a library that prints must not speak between the lines

    def tell(told: Mapping[str, Any]) -> None:
        out.write(json.dumps(told, allow_nan=False) + "\n")
        out.flush()

    with (
        suppress(KeyboardInterrupt, BrokenPipeError),
        tempfile.TemporaryDirectory(prefix="wearview-") as folder,
    ):
        import wearview.draw
        import wearview.pipeline  # noqa: F401  loaded before the first photo comes

        shelf = _Shelf(Path(folder))
        for line in sys.stdin:
            try:
                _grade(json.loads(line), shelf, tell)
            except WearviewError as error:
                tell({"raised": type(error).__name__, "words": [error.subject, error.problem, error.remedy]})


if __name__ == "__main__":
    _serve()
