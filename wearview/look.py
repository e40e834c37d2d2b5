"""One photo: its quality judged, its parts found, its light known, its faces taken."""

import math
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import delta_e
from wearview.errors import CleanReferenceError, PhotoError
from wearview.light import (
    NOTHING_MEASURED,
    KnownColours,
    Light,
    Targets,
    estimate_light,
    find_targets,
    known_colours,
)
from wearview.material import settle_kinds
from wearview.parts import NOTHING_SAID, Corrections, Part, find_parts, nothing_found, row_order
from wearview.parts import look as see
from wearview.photo import (
    WORKING_SIDE,
    Photo,
    PhotoBytes,
    PhotoFile,
    read_in_full,
    read_photo,
    read_photo_bytes,
)
from wearview.quality import Quality, in_focus, judge
from wearview.reference import Reference, reference_from_face
from wearview.settings import Settings
from wearview.surface import GRID, Face, diameter_of, rectify, take_face
from wearview.terms import FRICTION, LINED_KINDS, PROBLEMS, WEAK_LIGHT

Source = str | PhotoFile | PhotoBytes | Photo  # a file by its path, its bytes, or already read
SMALL = 800  # long side of the copy in which the light is judged
# Median colours of clean plates of one lining are no farther apart; the contract calls 5 "seen side by side".
# Of 85 tuned packs with a plate that heat has changed by as much 79 hold two that are, of two others none.
ALIKE = 5.0
BLURRED = "blurred"
RIM_WIDTH = 5  # working-copy pixels
SURELY_STEEL = 0.95  # confidence in a steel from which a photo given as a clean lining's is not believed


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A photo on its way: its parts found, its light known, its faces taken or not yet."""

    photo: Photo
    quality: Quality
    parts: tuple[Part, ...]
    light: Light | None
    targets: Targets | None
    no_part: str | None = None  # why none was found, a name from `terms.PROBLEMS`
    faces: tuple[tuple[Part, Face], ...] | None = None  # of its parts, where they were taken in its own light


@dataclass(frozen=True, slots=True, eq=False)
class Clean:
    """A clean lining and the light of its photo, in which photos without a light of their own are judged."""

    light: Light
    reference: Reference


def name_of(source: Source) -> str:
    """What the user calls a photo."""
    match source:
        case Photo():
            return source.file
        case PhotoBytes() | PhotoFile():
            return source.name
    return source


def read_source(source: Source, least_side: int | None = WORKING_SIDE) -> Photo:
    """The photo, read unless it already is; `least_side` as in `read_photo_bytes`."""
    match source:
        case Photo():
            return source
        case PhotoBytes():
            return read_photo_bytes(source.data, source.name, least_side)
        case PhotoFile():
            return read_photo(source.path, source.name, least_side)
    return read_photo(source, None, least_side)


def look_at(photo: Photo, said: Corrections = NOTHING_SAID, colours: KnownColours = NOTHING_MEASURED) -> Seen:
    """A photo with its quality judged, its parts found or set by a person, and its light and scale
    estimated."""
    quality = judge(photo)
    if not quality.gradeable and quality.problems != (BLURRED,):
        return Seen(photo, quality, (), None, None)
    targets = find_targets(photo.working, colours)
    # Who lays out the mat lays a plate on it: its ring need not be told from a gear's.
    sight = see(photo.working)
    parts = find_parts(photo, replace(said, in_view=said.in_view or targets.mat is not None), sight)
    if not quality.gradeable:
        if not in_focus(photo, _rims(parts, photo)):
            return Seen(photo, quality, (), None, None)
        quality = replace(quality, gradeable=True, problems=())  # it was the bench that has no sharp edges
    light = _light(photo, parts, targets, colours)
    if any(diameter_of(part) < photo.step * GRID for part in parts if not is_refused(part)):
        photo = read_in_full(photo)  # its pixels are coarser than those that the faces are measured on
    return Seen(photo, quality, parts, light, targets, None if parts else nothing_found(photo, sight))


def _rims(parts: Sequence[Part], photo: Photo) -> NDArray[np.bool_]:
    """Where the rims of plates lie in the working copy, drawn a few pixels wide."""
    drawn = np.zeros(photo.working.shape[:2], np.uint8)
    for part in parts:
        for edge in (part.outer, part.inner):
            if edge is not None:
                on = edge.scaled(1 / photo.scale)
                cv2.ellipse(drawn, ((on.cx, on.cy), (on.major, on.minor), on.angle_deg), 1, RIM_WIDTH)
    return drawn > 0


@contextmanager
def look_ahead(
    sources: Sequence[Source],
    said: Mapping[str, Corrections],
    colours: KnownColours,
    workers: int,
    and_then: Callable[[Seen], Seen],
) -> Iterator[Callable[[int], Seen]]:
    """What looks at a source by its number; with several workers for each number once, in rising order.

    Parameters
    ----------
    sources : sequence of str, PhotoFile, PhotoBytes or Photo
    said : mapping of str to Corrections
        What a person put right in a photo, by its sha256.
    colours : KnownColours
    workers : int
        From two on, so many threads look at what comes next while the caller is at work on what came before,
        and so many photos more are held in memory. What is seen is the same.
    and_then : callable
        What these threads do besides with each photo; not called where the caller waits anyway.

    Raises
    ------
    PhotoError
        By the call for a photo that cannot be read.
    """

    def look(number: int) -> Seen:
        photo = read_source(sources[number])
        return look_at(photo, said.get(photo.sha256, NOTHING_SAID), colours)

    if workers == 1:
        yield look
        return
    pool = ThreadPoolExecutor(workers)

    def begin(number: int) -> Future[Seen]:
        return pool.submit(lambda: and_then(look(number)))

    begun = deque(begin(number) for number in range(min(workers, len(sources))))

    def looked(number: int) -> Seen:
        try:
            return begun.popleft().result()
        finally:
            if number + workers < len(sources):
                begun.append(begin(number + workers))

    try:
        yield looked
    finally:
        pool.shutdown(cancel_futures=True)


def light_of(photo: Photo, parts: Sequence[Part], colours: KnownColours = NOTHING_MEASURED) -> Light:
    """The light of a photo whose parts are known."""
    return _light(photo, parts, find_targets(photo.working, colours), colours)


def _light(photo: Photo, parts: Sequence[Part], targets: Targets, colours: KnownColours) -> Light:
    height, width = photo.working.shape[:2]
    factor = min(1.0, SMALL / max(height, width))
    size = (round(width * factor), round(height * factor))
    small = cv2.resize(photo.working, size, interpolation=cv2.INTER_AREA)
    taken, metal = np.zeros((height, width), np.uint8), np.zeros((height, width), np.uint8)
    for part in parts:
        h, w = part.part_mask.shape
        at = np.s_[part.origin[1] : part.origin[1] + h, part.origin[0] : part.origin[0] + w]
        taken[at] |= part.part_mask.astype(np.uint8)
        metal[at] |= cv2.erode(part.metal_mask.astype(np.uint8), np.ones((3, 3), np.uint8))
    margin = np.ones((max(3, width // 60), max(3, width // 60)), np.uint8)
    taken = cv2.dilate(taken, margin)
    shrink = [cv2.resize(m, size, interpolation=cv2.INTER_NEAREST).astype(bool) for m in (taken, metal)]
    return estimate_light(small, shrink[0], shrink[1], targets, colours)


def take_faces(
    photo: Photo, parts: Sequence[Part], light: Light, targets: Targets | None, settings: Settings
) -> list[tuple[Part, Face]]:
    """Parts with their kinds settled by what their faces are made of, and these faces."""
    rectified = []
    for part in parts:
        mm_per_px = math.nan if targets is None else targets.mm_per_px(centre_of(part), photo.scale)
        rectified.append(rectify(photo, part, light, mm_per_px))
    settled = settle_kinds(parts, rectified, settings)
    return [(part, take_face(photo, r, part, light)) for part, r in zip(settled, rectified, strict=True)]


def with_faces(seen: Seen, apply_end: str | None, settings: Settings) -> Seen:
    """The photo with its faces, in row order, where its own light will do: before the others are known."""
    light = seen.light
    if light is None or light.method in WEAK_LIGHT:
        return seen
    able = [part for part in in_row(seen.parts, apply_end) if not is_refused(part)]
    return replace(seen, faces=tuple(take_faces(seen.photo, able, light, seen.targets, settings)))


def in_row(parts: Sequence[Part], apply_end: str | None) -> list[Part]:
    """The parts as they lie in a row, from the apply end."""
    centres = np.array([centre_of(part) for part in parts]).reshape(-1, 2)
    return [parts[i] for i in row_order(centres, apply_end)]


@dataclass(frozen=True, slots=True, eq=False)
class CleanPlates:
    """The clean linings in one photo, the largest first, each with its face."""

    sha256: str
    taken_at: str | None
    light: Light
    plates: tuple[tuple[Face, Reference], ...]


def clean_plates(source: Source, settings: Settings) -> CleanPlates:
    """Every clean lining in a photo of clean plates, at least one.

    Raises
    ------
    CleanReferenceError
        When it cannot be read, holds no lining that can serve, or linings that are not alike.
    """
    file = name_of(source)
    try:
        photo = read_source(source)
    except PhotoError as error:
        raise CleanReferenceError(file, error.problem, error.remedy) from error
    seen = look_at(photo, Corrections(in_view=True), known_colours(settings))
    if not seen.quality.gradeable:
        problem = PROBLEMS[seen.quality.problems[0]]
        raise CleanReferenceError(
            file, f"cannot serve as clean reference: {problem.name}", problem.remedy.rstrip(".")
        )
    assert seen.light is not None
    usable = [part for part in seen.parts if not is_refused(part)]
    usable.sort(key=lambda p: -p.face_mask.sum())
    taken = take_faces(photo, usable, seen.light, seen.targets, settings)
    lined = [face for part, face in taken if part.kind in LINED_KINDS]
    # A person says that this is lining: where only a steel is seen, and not surely, he is taken at his word.
    said = [
        replace(part, kind=FRICTION, kind_confidence=1.0)
        for part, _ in taken
        if part.kind not in LINED_KINDS and part.kind_confidence < SURELY_STEEL
    ]
    if not lined:
        lined = [face for _, face in take_faces(photo, said, seen.light, seen.targets, settings)]
    found = [(face, clean) for face in lined if (clean := reference_from_face(face, "photo", file))]
    if not found:
        raise CleanReferenceError(
            file,
            "no clean lining was found in it",
            "Lay one clean plate flat on a plain surface, whole in view",
        )
    labs = np.array([clean.lab_median for _, clean in found])
    if (apart := float(max(delta_e(labs, lab).max() for lab in labs))) > ALIKE:
        raise CleanReferenceError(
            file,
            f"its plates are not alike, Delta E {apart:.1f} apart",
            "Photograph clean plates of one lining only",
        )
    return CleanPlates(photo.sha256, photo.taken_at, seen.light, tuple(found))


def clean_from_photo(source: Source, settings: Settings) -> Clean:
    """The clean lining in a photo of a clean plate, that of the largest plate.

    Raises
    ------
    CleanReferenceError
        When it cannot be read or holds no lining that can serve.
    """
    found = clean_plates(source, settings)
    return Clean(found.light, found.plates[0][1])


def mm_per_px_of(seen: Seen) -> float:
    """At the photo's middle; NaN without a mat."""
    photo = seen.photo
    middle = (photo.width - 1) / 2, (photo.height - 1) / 2
    return math.nan if seen.targets is None else seen.targets.mm_per_px(middle, photo.scale)


def centre_of(part: Part) -> tuple[float, float]:
    """A part's middle, on the working image: of its rim, or halfway along a band."""
    if part.outer is not None:
        return part.outer.cx, part.outer.cy
    assert part.spine is not None
    middle = part.spine[len(part.spine) // 2]
    return float(middle[0]), float(middle[1])


def is_refused(part: Part) -> bool:
    """Whether one of its problems means that it cannot be graded."""
    return any(PROBLEMS[problem].refuses for problem in part.problems)
