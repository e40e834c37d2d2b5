"""Text on a picture: numbers, grades in words and the banner, set where they hide least."""

import math
import textwrap
from collections.abc import Iterator, Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from wearview.draw.hatch import hatched
from wearview.palette import colour_of, ink_of
from wearview.parts import Part
from wearview.record import GradedPart
from wearview.terms import PROBLEMS

Rgb = NDArray[np.uint8]
Hidden = NDArray[np.float32]
Box = tuple[float, float, float, float]  # left, top, right, bottom

# Sizes in pixels of a picture 1600 wide. A phone shows it 390 wide, where 48 become 12: the least that is
# read without zooming in.
NUMBER, WORDS, BANNER = 62.0, 48.0, 60.0
SWATCH = 40.0  # the box of the level before its words
LINES = (30, 13, 9)  # characters that a line may hold
LIGHT = "#ffffff"
LABEL, FRAME = 20.0, 50.0  # cost of a pixel of an earlier label, and of one off the picture; of a part 1


def words_of(part: GradedPart) -> str:
    """The grade in words, or why there is none."""
    if part.grade is not None and part.grade.level is not None:
        return str(part.grade.name)
    refusing = [name for name in part.problems if PROBLEMS[name].refuses]
    reason = next(iter(refusing or part.problems), None)
    return "cannot tell" if reason is None else f"cannot tell: {PROBLEMS[reason].label}"


def label_parts(picture: Image.Image, parts: Sequence[GradedPart], hidden: Hidden, unit: float) -> None:
    """Write every part's number and grade on the picture.

    Parameters
    ----------
    picture : Image
        Changed in place.
    parts : sequence of GradedPart
    hidden : ndarray, shape (H, W), float32
        What a label over each pixel would hide: 1 on a part, 0 elsewhere. Changed in place.
    unit : float
        Pixels of this picture for each pixel of one that is 1600 wide.
    """
    pen = ImageDraw.Draw(picture, "RGBA")
    for part in parts:
        _number(pen, part, hidden, unit)
    for part in parts:
        _words(picture, pen, part, hidden, unit)


def write_banner(picture: Image.Image, words: str, unit: float) -> None:
    """Write a sentence across the top of the picture, in as many lines as it needs."""
    pen = ImageDraw.Draw(picture, "RGBA")
    font, gap = font_of(BANNER * unit), 24 * unit
    room = picture.width - 4 * gap
    per_line = max(8, int(len(words) * room / max(room, pen.textlength(words, font=font))))
    text = "\n".join(textwrap.wrap(words, per_line))
    box = pen.multiline_textbbox((2 * gap, 2 * gap), text, font=font, spacing=gap / 2)
    pen.rounded_rectangle(
        (box[0] - gap, box[1] - gap, box[2] + gap, box[3] + gap),
        radius=gap / 2,
        fill=(20, 20, 20, 235),
        outline=LIGHT,
        width=max(1, round(3 * unit)),
    )
    pen.multiline_text((2 * gap, 2 * gap), text, font=font, fill=LIGHT, spacing=gap / 2)


def _number(pen: ImageDraw.ImageDraw, part: GradedPart, hidden: Hidden, unit: float) -> None:
    """The position in a disc: in the hole of a plate, or as near to it as hides the least of any part."""
    level = None if part.grade is None else part.grade.level
    place = f"{part.position}{(part.side or '')[:1]}"
    (x, y), room = _middle(part.part)
    font = font_of(max(0.8 * NUMBER * unit, min(NUMBER * unit, 0.34 * room)))
    r = 0.82 * font.size
    reach = max(room / 2, r)
    sites = [(x, y)] if part.part.spine is None else []
    sites += [
        (x + f * reach * math.cos(a), y + f * reach * math.sin(a))
        for f in (0.35, 0.7, 1.1, 1.6)
        for a in np.radians(np.arange(-90, 270, 45))
    ]
    boxes = [(sx - r, sy - r, sx + r, sy + r) for sx, sy in sites]
    box = min((_in_frame(box, hidden, 2.0) for box in boxes), key=lambda box: _hides(box, hidden))
    pen.ellipse(box, fill=colour_of(level), outline=ink_of(level), width=max(2, round(3 * unit)))
    middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    pen.text(middle, place, font=font, fill=ink_of(level), anchor="mm")
    _take(hidden, box)


def _words(
    picture: Image.Image, pen: ImageDraw.ImageDraw, part: GradedPart, hidden: Hidden, unit: float
) -> None:
    """The level's colour and hatch, and the grade, beside the part, wrapped where that hides less."""
    level = None if part.grade is None else part.grade.level
    font, pad, side = font_of(WORDS * unit), 10 * unit, SWATCH * unit
    choices: list[tuple[Box, str]] = []
    for per_line in LINES:
        text = "\n".join(textwrap.wrap(words_of(part), per_line))
        box = pen.multiline_textbbox((0, 0), text, font=font, spacing=pad / 2)
        wide, high = box[2] - box[0] + 3 * pad + side, max(side, box[3] - box[1]) + 2 * pad
        choices += [(_in_frame(site, hidden, pad), text) for site in _sites(part.part, wide, high, pad)]
    box, text = min(choices, key=lambda choice: _hides(choice[0], hidden))
    pen.rounded_rectangle(
        box, radius=pad, fill=(20, 20, 20, 225), outline=colour_of(level), width=max(2, round(4 * unit))
    )
    y = (box[1] + box[3]) / 2
    swatch = hatched(level, colour_of(level), side, side, unit, 1.0)
    picture.paste(swatch, (round(box[0] + pad), round(y - side / 2)))
    middle = ((box[0] + side + 2 * pad + box[2] - pad) / 2, y)
    pen.multiline_text(middle, text, font=font, fill=LIGHT, anchor="mm", align="center", spacing=pad / 2)
    _take(hidden, box)


def _sites(part: Part, wide: float, high: float, pad: float) -> Iterator[Box]:
    """Boxes of this size close to the part: below, above, beside, at its corners, last on its middle."""
    h, w = part.part_mask.shape
    x0, y0 = part.origin
    x1, y1 = x0 + w, y0 + h
    (cx, cy), _ = _middle(part)
    near = 2 * pad
    beside = (x0 - near - wide / 2, x1 + near + wide / 2)
    over = (y1 + near + high / 2, y0 - near - high / 2)
    for y in over:
        for x in (cx, cx - w / 4, cx + w / 4):
            yield _box(x, y, wide, high)
    for x in reversed(beside):
        for y in (cy, cy + h / 4, cy - h / 4):
            yield _box(x, y, wide, high)
    for x in (x0 + w * 0.08, x1 - w * 0.08):
        for y in (y1 - h * 0.02, y0 + h * 0.02):
            yield _box(x + math.copysign(wide / 2, x - cx), y, wide, high)
    yield _box(cx, cy + h / 4, wide, high)


def _box(x: float, y: float, wide: float, high: float) -> Box:
    return (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)


def _middle(part: Part) -> tuple[tuple[float, float], float]:
    """Middle of a part in the working copy, and the room in its hole (a band: its width)."""
    scale = part.scale
    if part.outer is not None:
        x, y = (part.outer.cx + 0.5) / scale - 0.5, (part.outer.cy + 0.5) / scale - 0.5
        return (x, y), (part.inner.minor if part.inner is not None else part.outer.minor / 2) / scale
    assert part.spine is not None
    x, y = (part.spine[len(part.spine) // 2] + 0.5) / scale - 0.5
    return (float(x), float(y)), part.width / scale


def _in_frame(box: Box, hidden: Hidden, margin: float) -> Box:
    """The box moved into the picture, `margin` from its edge."""
    height, width = hidden.shape
    x = max(margin, min(box[0], width - margin - (box[2] - box[0])))
    y = max(margin, min(box[1], height - margin - (box[3] - box[1])))
    return (x, y, x + box[2] - box[0], y + box[3] - box[1])


def _hides(box: Box, hidden: Hidden) -> float:
    """What a label in this box would hide: pixels of parts, dearer those of labels and off the picture."""
    x0, y0, x1, y1 = (round(v) for v in box)
    seen = hidden[max(0, y0) : max(0, y1), max(0, x0) : max(0, x1)]
    return float(seen.sum()) + FRAME * ((x1 - x0) * (y1 - y0) - seen.size)


def _take(hidden: Hidden, box: Box) -> None:
    x0, y0, x1, y1 = (max(0, round(v)) for v in box)
    hidden[y0:y1, x0:x1] = LABEL


@cache
def font_of(size: float) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size=max(1, round(size)))
    assert isinstance(font, ImageFont.FreeTypeFont)
    return font
