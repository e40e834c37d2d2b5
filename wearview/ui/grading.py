"""Photos of a tray through the pipeline, in a process of its own.

The page stays quick while photos are graded, a photo that brings a library down takes no page with it, and
the memory that grading needs is given back. `python -m wearview.ui.grading` is that process: one JSON line
in for each thing asked, lines of progress and one answer out. `Grader` speaks with it.
"""

import json
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from functools import lru_cache
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
from wearview.record import Document

if TYPE_CHECKING:
    from wearview.look import Clean
    from wearview.parts import Corrections
    from wearview.photo import PhotoBytes

MANY = 12  # photos whose memory, 35 MB each, is worth the second that a new process takes to start
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

    `said` holds what a person put right in a photo, by its sha256: a dict of `rims` and `no_parts`.
    """

    photos: tuple[Picture, ...]
    reference: Picture | None = None
    apply_end: str | None = None
    first: str = "apply"
    kinds: tuple[str, ...] | None = None
    positions: tuple[int, ...] | None = None
    said: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What came of it.

    Attributes
    ----------
    document : dict
        The contract's.
    overlays : dict of str to bytes
        JPEG by the photo's sha256.
    unread : dict of str to str
        Photos that could not be read, by name, with what to do in words.
    """

    document: Document
    overlays: dict[str, bytes]
    unread: dict[str, str]


class Grader:
    """Asks a process of its own to grade; starts it when first asked, and again after it has died."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None
        self._turn = threading.Lock()

    def grade(self, asked: Asked, advance: Advance = lambda done, total, name: None) -> Answer:
        """Grade, one thing asked at a time.

        Raises
        ------
        WearviewError
            As the pipeline raised it; or when the process died.
        """
        with self._turn:
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

            if len(asked.photos) > MANY:
                self.close()
            return answer

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
            overlays = {}
            for sha256, path in told["overlays"].items():
                overlays[sha256] = Path(path).read_bytes()
                Path(path).unlink()
            return Answer(told["document"], overlays, told["unread"])
    raise EOFError


def _grade(asked: Mapping[str, Any], folder: Path, tell: Callable[[Mapping[str, Any]], None]) -> None:
    """Grade in this process and leave overlays in a folder; the stages are loaded here alone."""
    from wearview.draw import overlay_photo
    from wearview.library import own_linings
    from wearview.pipeline import grade_photos
    from wearview.record import Place, build_document
    from wearview.report import jpeg
    from wearview.shop import shop_settings

    settings = shop_settings()
    graded = grade_photos(
        [_source(**picture) for picture in asked["photos"]],
        settings,
        reference=_clean(**asked["reference"], rules=settings.rules.sha256) if asked["reference"] else None,
        own=own_linings(),
        apply_end=asked["apply_end"],
        first=asked["first"],
        kinds=asked["kinds"],
        places=None if asked["positions"] is None else [Place(p) for p in asked["positions"]],
        corrections={sha256: _corrections(**said) for sha256, said in asked["said"].items()},
        progress=lambda done, total, name: tell({"done": done, "total": total, "name": name}),
    )
    overlays = {}
    for photo in graded.photos:
        path = folder / f"{photo.sha256}.jpg"
        path.write_bytes(jpeg(overlay_photo(photo)))
        overlays[photo.sha256] = str(path)
    tell(
        {
            "document": build_document(graded, settings),
            "overlays": overlays,
            "unread": {error.subject: str(error) for error in graded.unread},
        }
    )


def _source(path: str, name: str) -> "PhotoBytes":
    from wearview.photo import PhotoBytes

    return PhotoBytes(name, Path(path).read_bytes())


@lru_cache(maxsize=8)
def _clean(path: str, name: str, rules: str) -> "Clean":
    """The clean lining of a kept photo, looked at once under rules of this hash; its path holds its own."""
    from wearview.look import clean_from_photo
    from wearview.shop import shop_settings

    return clean_from_photo(_source(path, name), shop_settings())


def _corrections(rims: list[list[Any]], no_parts: list[Any]) -> "Corrections":
    from wearview.parts import Corrections, Rims

    return Corrections(
        tuple(Rims(tuple(map(tuple, outer)), tuple(map(tuple, inner))) for outer, inner in rims),
        tuple(map(tuple, no_parts)),
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
        for line in sys.stdin:
            try:
                _grade(json.loads(line), Path(folder), tell)
            except WearviewError as error:
                tell({"raised": type(error).__name__, "words": [error.subject, error.problem, error.remedy]})


if __name__ == "__main__":
    _serve()
