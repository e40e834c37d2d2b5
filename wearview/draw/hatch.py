"""The hatches of the levels as pixels: the kinds that `templates/hatches.svg` draws, so that a colour never
stands alone.

Sizes are in pixels of a picture 1600 wide; there the lines stay apart on a phone, four times smaller.
"""

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageColor, ImageDraw

from wearview.palette import ink_of

DARK = "#141414"
_PITCH = 16.0


def hatch(level: int | None, x: NDArray[np.floating], y: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Where the ink of a level's hatch lies.

    Parameters
    ----------
    level : int or None
        0..4, or None for "cannot tell".
    x, y : ndarray
        Coordinates in pixels of a picture 1600 wide; broadcast together.
    """
    match level:
        case 0:
            return np.zeros(np.broadcast_shapes(x.shape, y.shape), bool)
        case 1:  # dots
            return np.hypot(x % _PITCH - _PITCH / 2, y % _PITCH - _PITCH / 2) < 2.6
        case 2:  # lines from lower left to upper right
            return (x + y) % _PITCH < 3.4
        case 3:  # lines both ways
            return ((x + y) % _PITCH < 2.6) | ((x - y) % _PITCH < 2.6)
        case 4:  # lines along the picture, close together
            return np.broadcast_to(y % (_PITCH / 2) < 2.2, np.broadcast_shapes(x.shape, y.shape))
        case _:  # dashes
            return (y % _PITCH < 2.6) & (x % _PITCH < 0.6 * _PITCH)


def hatched(
    level: int | None, colour: str, width: float, height: float, unit: float, strength: float
) -> Image.Image:
    """A box of a colour under the hatch of a level, with a dark edge.

    Parameters
    ----------
    colour : str
        sRGB hex.
    width, height : float
        Pixels.
    unit : float
        Pixels for each pixel of a picture 1600 wide.
    strength : float
        0..1; how much of the colour the ink covers.
    """
    w, h = max(3, round(width)), max(3, round(height))
    box = np.full((h, w, 3), ImageColor.getrgb(colour), np.float32)
    inked = hatch(level, np.arange(w)[None] / unit, np.arange(h)[:, None] / unit)
    box[inked] = (1 - strength) * box[inked] + strength * np.array(ImageColor.getrgb(ink_of(level)))
    picture = Image.fromarray(np.rint(box).astype(np.uint8))
    ImageDraw.Draw(picture).rectangle((0, 0, w - 1, h - 1), outline=DARK, width=max(1, round(2 * unit)))
    return picture
