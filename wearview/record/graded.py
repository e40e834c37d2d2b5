"""What one call found, photo by photo and part by part."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wearview.errors import PhotoError
from wearview.grade import Grade
from wearview.library import Chosen
from wearview.light import Light
from wearview.lining import LiningReadings, Relit
from wearview.pack import Pack
from wearview.parts import Part
from wearview.quality import Quality
from wearview.reference import Reference
from wearview.shots import Shots
from wearview.steel import SteelReadings
from wearview.surface import Face


@dataclass(frozen=True, slots=True, eq=False)
class GradedPart:
    """One part with all that was found out about it. `face` is None when the part or its photo is refused,
    `chosen` when it was compared with what all parts were; `face` also once the photo stands without its
    pictures. `shots` is what several shots of it say, whose joined readings it carries; `shot_of` the id of
    the part that carries those of this shot, which keeps its own."""

    id: str
    position: int
    side: str | None
    part: Part
    face: Face | None
    lining: LiningReadings | None
    steel: SteelReadings | None
    grade: Grade | None
    problems: tuple[str, ...]
    chosen: Chosen | None = None
    relit: Relit | None = None
    shots: Shots | None = None
    shot_of: str | None = None


@dataclass(frozen=True, slots=True)
class SecondLight:
    """A photo for which only the lamp was moved: its file and the sha256 of that file."""

    file: str
    sha256: str


@dataclass(frozen=True, slots=True, eq=False)
class GradedPhoto:
    """One photo with its parts in position order; the working copy is kept for drawing, the photo is not.
    `second_light` is the one given with it, whether or not it fits."""

    file: str
    stem: str
    sha256: str
    width: int
    height: int
    taken_at: str | None
    working: NDArray[np.uint8]
    scale: float
    quality: Quality
    problems: tuple[str, ...]
    light: Light | None
    light_uncertainty: float
    parts: tuple[GradedPart, ...]
    mm_per_px: float = math.nan
    second_light: SecondLight | None = None


_NO_PICTURE = np.zeros((0, 0, 3), np.uint8)
_NO_MAP = np.zeros((0, 0), np.float32)
_NO_CODES = np.zeros((0, 0), np.uint8)


def without_pictures(photo: GradedPhoto) -> GradedPhoto:
    """The photo with all that its document takes, and without what only drawing and measuring need."""
    return replace(photo, working=_NO_PICTURE, parts=tuple(map(_without_maps, photo.parts)))


def _without_maps(graded: GradedPart) -> GradedPart:
    lining, steel = graded.lining, graded.steel
    nothing = np.broadcast_to(np.False_, graded.part.part_mask.shape)  # takes no memory
    return replace(
        graded,
        part=replace(graded.part, face_mask=nothing, metal_mask=nothing),
        face=None,
        lining=lining and replace(lining, delta_e_map=_NO_MAP),
        steel=steel and replace(steel, family_map=_NO_CODES, spot_map=_NO_CODES.astype(bool)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Graded:
    """Everything one call found."""

    photos: tuple[GradedPhoto, ...]
    unread: tuple[PhotoError, ...]
    reference: Reference
    pack: Pack | None
    repeated: tuple[str, ...]
