"""What one call found, photo by photo and part by part."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.errors import PhotoError
from wearview.grade import Grade
from wearview.library import Chosen
from wearview.light import Light
from wearview.lining import LiningReadings
from wearview.pack import Pack
from wearview.parts import Part
from wearview.quality import Quality
from wearview.reference import Reference
from wearview.steel import SteelReadings
from wearview.surface import Face


@dataclass(frozen=True, slots=True, eq=False)
class GradedPart:
    """One part with all that was found out about it. `face` is None when the part or its photo is refused,
    `chosen` when it was compared with what all parts were."""

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


@dataclass(frozen=True, slots=True, eq=False)
class GradedPhoto:
    """One photo with its parts in position order; the working copy is kept for drawing, the photo is not."""

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


@dataclass(frozen=True, slots=True, eq=False)
class Graded:
    """Everything one call found."""

    photos: tuple[GradedPhoto, ...]
    unread: tuple[PhotoError, ...]
    reference: Reference
    pack: Pack | None
    repeated: tuple[str, ...]
