"""The strip below a picture that says what the colours on its parts mean."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from wearview.draw.hatch import DARK, hatched
from wearview.draw.heat import HATCH, MAP_STOPS, TINT_COLOURS, TINT_LEVELS, ramp, tints_shown
from wearview.draw.labels import LIGHT, font_of
from wearview.palette import ink_of
from wearview.record import GradedPart

Rgb = NDArray[np.uint8]

# In pixels of a picture 1600 wide.
LETTERS, BOX, GAP, LINE = 44.0, 50.0, 14.0, 72.0
RAMP, STEP = 56.0, 118.0  # height of the scale of Delta E, and its length from one stop to the next
STOPS = ("0", "5", "10", "20", "30+")


@dataclass(frozen=True, slots=True)
class _Entry:
    """A piece of the legend: its width, and what draws it with its left end at x and its middle at y."""

    width: float
    draw: Callable[[Image.Image, float, float], None]


def legend(parts: Sequence[GradedPart], width: int, unit: float) -> Rgb:
    """A strip that says what the colours on these parts mean, as many lines as it needs; none for no map.

    Returns
    -------
    ndarray, shape (H, width, 3), uint8
    """
    gap, line = GAP * unit, LINE * unit
    placed: list[tuple[float, float, _Entry]] = []
    y = line / 2 + gap / 2
    groups = list(_groups(parts, unit))
    for group in groups:
        x = 2 * gap
        for entry in group:
            if x > 2 * gap and x + entry.width > width - gap:
                x, y = 6 * gap, y + line
            placed.append((x, y, entry))
            x += entry.width + 2 * gap
        y += line
    strip = Image.new("RGB", (width, round(y - line / 2 + gap / 2) if groups else 0), LIGHT)
    for x, y, entry in placed:
        entry.draw(strip, x, y)
    return np.asarray(strip)


def _groups(parts: Sequence[GradedPart], unit: float) -> Iterator[list[_Entry]]:
    if any(p.lining is not None for p in parts):
        yield [_words("Off the clean colour (Delta E):", unit), _scale(unit)]
    if any(p.steel is not None for p in parts):
        seen = {tint for part in parts for tint in tints_shown(part)}
        shown = [_tint(tint, unit) for tint in TINT_COLOURS if tint in seen]
        yield [_words("Tint on steel:", unit), *shown] if shown else [_words("Tint on steel: none", unit)]


def _words(text: str, unit: float) -> _Entry:
    font = font_of(LETTERS * unit)

    def draw(strip: Image.Image, x: float, y: float) -> None:
        ImageDraw.Draw(strip).text((x, y), text, font=font, fill=DARK, anchor="lm")

    return _Entry(font.getlength(text), draw)


def _tint(tint: str, unit: float) -> _Entry:
    """A box in the tint's colour under its hatch, and its name."""
    name, side, gap = _words(tint, unit), BOX * unit, GAP * unit

    def draw(strip: Image.Image, x: float, y: float) -> None:
        box = hatched(TINT_LEVELS[tint], TINT_COLOURS[tint], side, 0.8 * side, unit, HATCH)
        strip.paste(box, (round(x), round(y - box.height / 2)))
        name.draw(strip, x + side + gap, y)

    return _Entry(side + gap + name.width, draw)


def _scale(unit: float) -> _Entry:
    """The colours of Delta E from 0 to 30 and more, each stop written on its colour."""
    step, height, font = STEP * unit, round(RAMP * unit), font_of(0.82 * LETTERS * unit)
    length = round(step * len(STOPS))

    def draw(strip: Image.Image, x: float, y: float) -> None:
        # Half a step of plain colour at each end, so that the first and the last number stand on their own.
        along = np.clip((np.arange(length) + 0.5) / step - 0.5, 0, len(STOPS) - 1)
        values = np.interp(along, np.arange(len(STOPS)), MAP_STOPS)
        bar = Image.fromarray(np.repeat(ramp(values.astype(np.float32))[None], height, axis=0))
        at = (round(x), round(y - height / 2))
        strip.paste(bar, at)
        pen = ImageDraw.Draw(strip)
        edge = max(1, round(2 * unit))
        pen.rectangle((*at, at[0] + length - 1, at[1] + height - 1), outline=DARK, width=edge)
        for level, stop in enumerate(STOPS):
            middle = (x + (level + 0.5) * step, y)
            pen.text(middle, stop, font=font, fill=ink_of(level), anchor="mm")

    return _Entry(length, draw)
