"""Overlays and masks from results: outlines, position, grade in words, and a heat map over the face. Measures nothing."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from wearview.palette import CANNOT_TELL_COLOUR, LEVEL_COLOURS, colour_of, ink_of, rgb_of
from wearview.parts import Part
from wearview.parts.masks import polar_of
from wearview.record import GradedPart, GradedPhoto
from wearview.surface import GRID
from wearview.terms import TINTS

Rgb = NDArray[np.uint8]

# Delta E at which the heat map takes the colour of each level: the thresholds of the rules, so that the eye and the grade
# speak of the same thing.
MAP_STOPS = (0.0, 5.0, 10.0, 20.0, 32.0)
# Tints are shown in a colour of their family, the heat map's colours being taken.
TINT_COLOURS = {
    "straw": "#d9b44a",
    "brown": "#8a5a2b",
    "purple": "#7b3f8c",
    "blue": "#2f5fb3",
    "grey": "#9aa0a6",
    "other": "#4d8f6a",
}
MAP_STRENGTH = 0.62


def overlay_photo(graded: GradedPhoto) -> Rgb:
    """The working copy with every part outlined, numbered, graded in words, and its face mapped.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        At most 1600 pixels long; a legend strip is added below.
    """
    canvas = graded.working.copy()
    for part in graded.parts:
        _lay_map(canvas, part)
    for part in graded.parts:
        _outline(canvas, part, graded.scale)
    picture = Image.fromarray(canvas)
    pen = ImageDraw.Draw(picture, "RGBA")
    unit = max(canvas.shape[:2]) / 1600
    for part in graded.parts:
        _label(pen, part, graded.scale, unit, canvas.shape[1])
    if not graded.parts:
        reason = next(iter(graded.problems), "no part found")
        _banner(pen, f"cannot be graded: {reason}", unit)
    return np.vstack([np.asarray(picture), _legend(graded, canvas.shape[1], unit)])


def part_masks(graded: GradedPhoto) -> list[tuple[Rgb, Rgb]]:
    """Full-size masks of every part in position order, part and face, 0 or 255."""
    return [
        (
            _full_mask(graded, part.part, part.part.part_mask),
            _full_mask(graded, part.part, part.part.face_mask),
        )
        for part in graded.parts
    ]


def _full_mask(graded: GradedPhoto, part: Part, mask: NDArray[np.bool_]) -> Rgb:
    out = np.zeros((graded.height, graded.width), np.uint8)
    h, w = mask.shape
    x0, y0 = ((np.array(part.origin) + 0.0) * part.scale).astype(int)
    x1 = min(graded.width, math.ceil((part.origin[0] + w) * part.scale))
    y1 = min(graded.height, math.ceil((part.origin[1] + h) * part.scale))
    if x1 <= x0 or y1 <= y0:
        return out
    # Where each full-size pixel lies in the working copy's crop.
    x = (np.arange(x0, x1) + 0.5) / part.scale - 0.5 - part.origin[0]
    y = (np.arange(y0, y1) + 0.5) / part.scale - 0.5 - part.origin[1]
    columns, rows = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
    soft = cv2.remap(mask.astype(np.float32), columns, rows, cv2.INTER_LINEAR, borderValue=0)
    out[y0:y1, x0:x1] = np.where(soft >= 0.5, 255, 0)
    return out


def _lay_map(canvas: Rgb, graded: GradedPart) -> None:
    """Blend the face's map over the picture: Delta E of a lining, tint families of a steel."""
    if graded.face is None:
        return
    part = graded.part
    if graded.lining is not None:
        values = graded.lining.delta_e_map
        colours, strength = _ramp(values), np.clip(values / MAP_STOPS[1], 0.15, 1.0)
    elif graded.steel is not None:
        colours, strength = _family_colours(graded.steel.family_map)
    else:
        return
    colours[~graded.face.mask] = 0
    strength = np.where(graded.face.mask & np.isfinite(strength), strength, 0).astype(np.float32)
    h, w = part.face_mask.shape
    if part.outer is not None and part.inner is not None:
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        full_x = (x + part.origin[0] + 0.5) * part.scale - 0.5
        full_y = (y + part.origin[1] + 0.5) * part.scale - 0.5
        rho, angle = polar_of(part.outer, part.inner, full_x, full_y)
        middle = (graded.face.mask.shape[0] - 1) / 2
        at_x = (rho * np.cos(angle) * (GRID / 2) + middle).astype(np.float32)
        at_y = (rho * np.sin(angle) * (GRID / 2) + middle).astype(np.float32)
        laid = cv2.remap(colours, at_x, at_y, cv2.INTER_NEAREST)
        weight = cv2.remap(strength, at_x, at_y, cv2.INTER_LINEAR)
    else:
        laid, weight = _splat(graded, colours, strength)
    weight = weight * part.face_mask * np.float32(MAP_STRENGTH)
    x0, y0 = part.origin
    under = canvas[y0 : y0 + h, x0 : x0 + w]
    under[:] = np.rint(under * (1 - weight[..., None]) + laid * weight[..., None]).astype(np.uint8)


def _splat(
    graded: GradedPart, colours: Rgb, strength: NDArray[np.float32]
) -> tuple[Rgb, NDArray[np.float32]]:
    """A band's straightened map laid back along its spine."""
    part = graded.part
    assert graded.face is not None
    at = np.rint((graded.face.xy + 0.5) / part.scale - 0.5 - np.array(part.origin)).astype(int)
    h, w = part.face_mask.shape
    inside = (at[..., 0] >= 0) & (at[..., 1] >= 0) & (at[..., 0] < w) & (at[..., 1] < h) & (strength > 0)
    laid, weight = np.zeros((h, w, 3), np.uint8), np.zeros((h, w), np.float32)
    laid[at[inside][:, 1], at[inside][:, 0]] = colours[inside]
    weight[at[inside][:, 1], at[inside][:, 0]] = strength[inside]
    holes = weight == 0
    grown = cv2.dilate(weight, np.ones((5, 5), np.uint8))
    laid = np.where(holes[..., None], cv2.dilate(laid, np.ones((5, 5), np.uint8)), laid)
    return laid, np.where(holes, grown, weight)


def _ramp(values: NDArray[np.float32]) -> Rgb:
    """Colours of Delta E, between the colours of the levels."""
    stops = np.array([_rgb(colour) for colour in LEVEL_COLOURS], float)
    filled = np.nan_to_num(values, nan=0.0)
    return np.stack([np.interp(filled, MAP_STOPS, stops[:, k]) for k in range(3)], axis=-1).astype(np.uint8)


def _family_colours(families: NDArray[np.uint8]) -> tuple[Rgb, NDArray[np.float32]]:
    table, shown = np.zeros((256, 3), np.uint8), np.zeros(256, np.float32)
    for i, tint in enumerate(TINTS):
        if tint in TINT_COLOURS:
            table[i], shown[i] = _rgb(TINT_COLOURS[tint]), 1.0
    return table[families], shown[families]


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _outline(canvas: Rgb, graded: GradedPart, scale: float) -> None:
    part = graded.part
    level = None if graded.grade is None else graded.grade.level
    width = max(2, round(max(canvas.shape[:2]) / 320))
    contours, _ = cv2.findContours(
        np.pad(part.part_mask.astype(np.uint8), 1),
        cv2.RETR_CCOMP,
        cv2.CHAIN_APPROX_NONE,
        offset=(part.origin[0] - 1, part.origin[1] - 1),
    )
    contours = [c for c in contours if len(c) > 40]
    for thick, colour in ((width + 2, (20, 20, 20)), (width, rgb_of(level))):
        cv2.drawContours(canvas, contours, -1, colour, thick, cv2.LINE_AA)


def _label(pen: ImageDraw.ImageDraw, graded: GradedPart, scale: float, unit: float, width: int) -> None:
    """Position in a disc at the part's middle, the grade in words below it."""
    part = graded.part
    level = None if graded.grade is None else graded.grade.level
    words = "cannot tell" if level is None or graded.grade is None else f"{graded.grade.name}"
    if part.outer is not None:
        x, y = (part.outer.cx + 0.5) / scale - 0.5, (part.outer.cy + 0.5) / scale - 0.5
        room = part.outer.major / scale * 0.62
    else:
        assert part.spine is not None
        middle = part.spine[len(part.spine) // 2]
        x, y = (middle[0] + 0.5) / scale - 0.5, (middle[1] + 0.5) / scale - 0.5
        room = 400 * unit
    number = _font(max(26 * unit, min(46 * unit, room * 0.22)))
    text = _fitting(pen, words, max(20 * unit, min(34 * unit, room * 0.17)), max(room, 120 * unit))
    place = f"{graded.position}{(graded.side or '')[:1]}"
    r = number.size * 0.85
    top = y - r - text.size * 0.6
    pen.ellipse(
        (x - r, top - r, x + r, top + r),
        fill=colour_of(level),
        outline="#141414",
        width=max(2, round(3 * unit)),
    )
    pen.text((x, top), place, font=number, fill=ink_of(level), anchor="mm")
    box = pen.textbbox((x, y + text.size * 0.8), words, font=text, anchor="mm")
    shift = max(0.0, 4 - box[0]) - max(0.0, box[2] + 4 - width)
    pad = 7 * unit
    pen.rounded_rectangle(
        (box[0] - pad + shift, box[1] - pad, box[2] + pad + shift, box[3] + pad),
        radius=8 * unit,
        fill=(20, 20, 20, 215),
    )
    pen.text((x + shift, y + text.size * 0.8), words, font=text, fill="#ffffff", anchor="mm")


def _fitting(pen: ImageDraw.ImageDraw, words: str, size: float, room: float) -> ImageFont.FreeTypeFont:
    font = _font(size)
    wide = pen.textlength(words, font=font)
    return font if wide <= room else _font(max(16, size * room / wide))


def _font(size: float) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size=round(size))
    assert isinstance(font, ImageFont.FreeTypeFont)
    return font


def _banner(pen: ImageDraw.ImageDraw, words: str, unit: float) -> None:
    font = _font(40 * unit)
    box = pen.textbbox((30 * unit, 30 * unit), words, font=font)
    pen.rectangle((box[0] - 16, box[1] - 12, box[2] + 16, box[3] + 12), fill=(20, 20, 20, 220))
    pen.text((30 * unit, 30 * unit), words, font=font, fill="#ffffff")


def _legend(graded: GradedPhoto, width: int, unit: float) -> Rgb:
    """A strip that says what the colours of the maps mean."""
    height = round(64 * unit)
    strip = Image.new("RGB", (width, height), "#ffffff")
    pen = ImageDraw.Draw(strip)
    font = _font(24 * unit)
    x, middle = 20 * unit, height / 2
    entries: list[tuple[str, str]] = []
    if any(p.lining is not None for p in graded.parts):
        names = ("as clean", "5", "10", "20", "30 and more")
        entries += [("Delta E from clean:", "")] + list(zip(names, LEVEL_COLOURS, strict=True))
    if any(p.steel is not None for p in graded.parts):
        entries += [("tint on steel:", ""), *TINT_COLOURS.items()]
    if any(p.grade is None or p.grade.level is None for p in graded.parts):
        entries.append(("cannot tell", CANNOT_TELL_COLOUR))
    for words, colour in entries:
        if colour:
            side = 26 * unit
            pen.rectangle((x, middle - side / 2, x + side, middle + side / 2), fill=colour, outline="#141414")
            x += side + 8 * unit
        pen.text((x, middle), words, font=font, fill="#141414", anchor="lm")
        x += pen.textlength(words, font=font) + 22 * unit
    return np.asarray(strip)
