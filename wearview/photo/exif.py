"""What the camera wrote about the photo: which way up, when, and how wide it looks."""

import math
import re
import struct
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from PIL import Image

_ORIENTATION, _CAMERA, _TAKEN, _OFFSET = 274, 34665, 36867, 36881
_COLOUR_SPACE, _FOCAL_35 = 40961, 41989
SRGB, UNCALIBRATED = 1, 65535  # values of the Exif ColorSpace tag
_FILM_DIAGONAL = math.hypot(36, 24)  # mm; a 35 mm equivalent keeps the angle across the diagonal
# What Pillow raises on tags that are cut short or of the wrong type.
_UNPARSED = (OSError, SyntaxError, ValueError, EOFError, IndexError, TypeError, KeyError, struct.error)


@dataclass(frozen=True, slots=True)
class Tags:
    """The few tags the program looks at; a tag that is absent or cannot be parsed is None (orientation: 1).

    Attributes
    ----------
    orientation : int
        1 to 8; what still has to be done to the decoded pixels.
    taken_at : str or None
        DateTimeOriginal as `YYYY-MM-DDTHH:MM:SS`, with `+HH:MM` where OffsetTimeOriginal gives it.
    colour_space : int or None
        `SRGB`, `UNCALIBRATED`, or what else the file says.
    focal_35 : float or None
        Focal length in mm of a 35 mm camera that sees the same angle.

    References
    ----------
    Exif 2.31 and 2.32 (CIPA DC-008).
    """

    orientation: int
    taken_at: str | None
    colour_space: int | None
    focal_35: float | None


def read_tags(image: Image.Image) -> Tags:
    """The tags of an opened image.

    Read them after the pixels where Pillow decodes: a TIFF is turned while it loads and drops its tag then,
    and a HEIC comes with its tag reset because its own rotation has been applied.
    """
    try:
        exif = image.getexif()
        orientation, camera = exif.get(_ORIENTATION, 1), exif.get_ifd(_CAMERA)
    except _UNPARSED:
        orientation, camera = 1, {}
    colour_space = camera.get(_COLOUR_SPACE)
    return Tags(
        orientation=orientation if orientation in range(1, 9) else 1,
        taken_at=_taken_at(camera),
        colour_space=colour_space if isinstance(colour_space, int) else None,
        focal_35=_focal_35(camera),
    )


def focal_px(tags: Tags, width: int, height: int) -> float | None:
    """Focal length in pixels of a photo of this size, None where the camera did not say."""
    if tags.focal_35 is None:
        return None
    return tags.focal_35 / _FILM_DIAGONAL * math.hypot(width, height)


def _taken_at(camera: dict[int, Any]) -> str | None:
    # "YYYY:MM:DD HH:MM:SS" without a zone; blanks or zeros mean unknown.
    try:
        taken = datetime.strptime(str(camera.get(_TAKEN)).strip(" \0"), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    offset = str(camera.get(_OFFSET, "")).strip(" \0")
    return taken.isoformat() + (offset if re.fullmatch(r"[+-]([01]\d|2[0-3]):[0-5]\d", offset) else "")


def _focal_35(camera: dict[int, Any]) -> float | None:
    try:
        focal = float(camera.get(_FOCAL_35, 0))
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return focal if 0 < focal < math.inf else None  # 0 means unknown
