"""Plain white paper and grey cards in view: flat, four-cornered, of one colour, and as grey as the light lets
them be."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.light.tone import USUAL
from wearview.ranks import quantile

# Reflectance of what people lay beside the part. Office paper reflects 0.82 to 0.92 of the light, a
# photographer's grey card 0.18 by definition (both from memory).
REFLECTANCE = {"paper": 0.87, "card": 0.18}
SIDE = 480  # long side of the copy in which sheets are sought
MIN_AREA, MAX_AREA = 0.004, 0.40  # of the photo
# Thresholds per map and polarity, and of evenness. With 10 or 11 as many sheets are found on benches, but a
# small card is lost with 10, and with 11 the one that a mat is calibrated by.
LEVELS = 18
CORNERS = (4, 6)  # a sheet whole in view has four, one cut by two edges of the frame six
# Of the photo: smaller, what the frame cuts is more often a tray's rim or a rag. In 240 rendered photos no
# true sheet that the frame cuts was under 0.050, seven of ten false ones under 0.035.
CUT_SHEET = 0.045
SAME_BOX = 8  # pixels of the small copy
UNIFORM = 0.075  # scatter of a sheet's smoothed level over the level itself
# Log ratios of red and blue to green under which a sheet can still be white: the phone's own white balance
# has taken out most of the lamp. Cardboard (about +0.3, -0.6) and blue shop towels (-0.4, +0.4) lie outside.
RED, BLUE = (-0.32, 0.32), (-0.52, 0.36)
# How far off a sheet's surroundings begin and end, of the picture's long side; and the natural log of light,
# in the channel where it is most, by which the sheet differs from them at least. Of 572 outlines in 400 tuned
# photos none of the 451 on a sheet differs by less than 0.09, and 96 of the 121 on none by less than 0.06:
# tiles, squares of a cutting mat.
SURROUNDINGS, LEAST_CONTRAST = (0.0075, 0.01875), 0.08
_NEAR = np.ones((3, 3), np.uint8)
# A phone rolls highlights off instead of breaking them: above the shoulder a code stands for more light than
# sRGB says. Shape and place are those of our rendered phones, so what is undone adds to the uncertainty.
SHOULDER, STEEPNESS = 0.9, 1.6  # linear; light over code just above it
NEXT_TO_WHITE = 0.95  # of the way from the shoulder to white; beyond, a code says nothing more
# Log odds of paper against a card: a phone exposes so that paper comes out bright and a card does not, less
# so on a dark bench; against a card taken for paper, teeth in view would be 4.8 times as bright. Linear
# discriminant of 260 rendered photos with one of the two in view; teeth are held back, as shadow hides them.
OWN_LEVEL, BENCH_LEVEL, PAPER_BIAS = 11.4, -1.7, 12.0  # of ln sheet, of ln (bench / sheet)
TEETH_LEVEL, TEETH_MIDDLE = -3.5, 0.47  # of ln (teeth / sheet / middle)
# Neither lining nor steel returns more of the light than this over half of it: the largest median of the same
# photos is 0.50, of steels, and 0.87 the one where a card was read as paper.
BRIGHTEST_PARTS, PARTS_LEVEL = 0.6, -30.0  # of ln (parts / brightest), above it

Level = NDArray[np.uint8] | NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Shape:
    """How near an outline must come to a sheet's, as shares of the area of its convex hull.

    Attributes
    ----------
    solid : float
        Its own area, at least.
    whole, cut : float
        Area of the four corners it is drawn with, and of more than four, which a sheet cut by the frame has.
    """

    solid: float
    whole: float
    cut: float


STANDS_OUT = Shape(0.93, 0.88, 0.94)
# What is told by evenness alone has frayed edges. Of 16 tuned photos of a sheet that does not stand out 14
# show it so; of 72 of none, none does.
EVEN = Shape(0.88, 0.86, 0.94)


@dataclass(frozen=True, slots=True, eq=False)
class Neutral:
    """A neutral surface in view.

    Attributes
    ----------
    kind : str
        "paper" or "card".
    white : ndarray, shape (3,)
        Linear RGB a perfect white would have at its place.
    centre : tuple of float
        x, y in pixels of the picture it was found in.
    mask : ndarray of bool
        Its inside, the size of that picture.
    unrolled : float
        Natural log of by how much the phone's shoulder was undone, in the channel where it was most; 0 for a
        sheet below the shoulder.
    cut : bool
        The frame cuts it.
    odds : float
        Natural log of how much likelier it is of this kind than of the other; 0 and up.
    """

    kind: str
    white: NDArray[np.float64]
    centre: tuple[float, float]
    mask: NDArray[np.bool_]
    unrolled: float
    cut: bool
    odds: float


def find_neutrals(
    rgb8: NDArray[np.uint8], taken: NDArray[np.bool_], teeth: float | None = None
) -> list[Neutral]:
    """Neutral surfaces, best first.

    Parameters
    ----------
    rgb8 : ndarray, shape (H, W, 3), uint8
        A small copy of the photo, about 800 pixels long.
    taken : ndarray of bool, shape (H, W)
        Where parts lie.
    teeth : float or None
        Linear green of bare teeth in view, to tell paper from card by.

    Notes
    -----
    Level sets of brightness, darkness and colourfulness are searched for four-cornered pieces, as in
    maximally stable extremal regions (J. Matas and others, BMVC 2002): a sheet keeps its outline over many
    thresholds. What has the colour of its surroundings is a piece of the bench between joints or lines. Where
    nothing is found, a sheet as bright as its bench may still stand out by how even it is.
    """
    height, width = taken.shape
    factor = min(1.0, SIDE / max(height, width))
    size = (round(width * factor), round(height * factor))
    tiny = cv2.GaussianBlur(cv2.resize(rgb8, size, interpolation=cv2.INTER_AREA), (0, 0), 1.2)
    free8 = 255 * (cv2.resize(taken.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) == 0).astype(
        np.uint8
    )
    free = free8 > 0
    parts = float(_median_light(rgb8, taken)[1]) if taken.any() else None
    if not free.any():
        return []
    outlines: list[NDArray[np.int32]] = []
    for level in _maps(tiny):
        seen = level[free].astype(np.float32)
        darkest, brightest = quantile(seen, 0.01), quantile(seen, 0.999)
        above, below = _without_specks(level, free8)
        for limit in np.unique(np.linspace(darkest, brightest, LEVELS)[1:-1]):
            for values, side in ((above, cv2.CMP_GT), (below, cv2.CMP_LT)):
                outlines.extend(_sheets(cv2.compare(values, float(limit), side), STANDS_OUT))

    def judged(outlines: list[NDArray[np.int32]]) -> list[Neutral]:
        each = (_judge_sheet(one, tiny, rgb8, 1 / factor, teeth, parts) for one in _distinct(outlines))
        return sorted((one for one in each if one is not None), key=lambda one: -_quality(one))

    if seen := judged(outlines):
        return [one for one in seen if _contrast(one, rgb8, taken) >= LEAST_CONTRAST]
    return judged(_even_sheets(tiny, free8))


def _contrast(sheet: Neutral, rgb8: NDArray[np.uint8], taken: NDArray[np.bool_]) -> float:
    """Natural log of light by which a sheet differs from what lies round it, in the channel where it is most;
    infinite where parts or the frame hide that."""
    inside = sheet.mask.astype(np.uint8)
    near, far = (
        cv2.dilate(inside, np.ones((2 * reach + 1,) * 2, np.uint8))
        for reach in (round(share * max(inside.shape)) for share in SURROUNDINGS)
    )
    around = (far > near) & ~taken
    if not around.any():
        return math.inf
    own, other = (np.maximum(_median_light(rgb8, mask), 1e-3) for mask in (sheet.mask, around))
    return float(np.abs(np.log(own / other)).max())


def _even_sheets(rgb8: NDArray[np.uint8], free8: NDArray[np.uint8]) -> list[NDArray[np.int32]]:
    """Four-cornered outlines of what is more even than its surroundings: its edges part it from a bench of
    its own brightness."""
    level = rgb8.astype(np.float32)
    mean = cv2.blur(level, (5, 5))
    variance = np.maximum(cv2.blur(level * level, (5, 5)) - mean * mean, 0)
    # 8 codes: the noise of a dark pixel.
    uneven = np.asarray(np.sqrt(_highest(variance)) / (_highest(mean) + 8), np.float32)
    limits = np.quantile(uneven[free8 > 0], np.linspace(0.05, 0.9, LEVELS))
    _, below = _without_specks(uneven, free8)
    return [
        outline for limit in limits for outline in _sheets(cv2.compare(below, float(limit), cv2.CMP_LT), EVEN)
    ]


def _highest(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """The largest of three channels."""
    first, second, third = cv2.split(values)
    return np.asarray(cv2.max(cv2.max(first, second), third))


def _without_specks(level: Level, free8: NDArray[np.uint8]) -> tuple[Level, Level]:
    """A level of 0..255 to see in what lies above a limit, and one for what lies below it, both in free
    places three pixels wide or more.

    Opened once for all limits: what is over a limit in an opened level is what opening leaves of all that is
    over it (J. Serra, Image Analysis and Mathematical Morphology, 1982; from memory).
    """
    above, below = level.copy(), level.copy()
    above[free8 == 0], below[free8 == 0] = 0, 255
    return cv2.morphologyEx(above, cv2.MORPH_OPEN, _NEAR), cv2.morphologyEx(below, cv2.MORPH_CLOSE, _NEAR)


def _maps(rgb8: NDArray[np.uint8]) -> list[Level]:
    """Darkest channel (white stands out from any colour), brightest channel, colourfulness."""
    red, green, blue = cv2.split(rgb8)
    low, high = cv2.min(cv2.min(red, green), blue), cv2.max(cv2.max(red, green), blue)
    brightest = high.astype(np.float32)
    return [
        np.asarray(low, np.uint8),
        np.asarray(high, np.uint8),
        255 * (brightest - low.astype(np.float32)) / np.maximum(brightest, 8),
    ]


def _sheets(piece: NDArray[np.uint8], shape: Shape) -> list[NDArray[np.int32]]:
    """Four-cornered outlines among the connected pieces of a mask."""
    least, most = MIN_AREA * piece.size, MAX_AREA * piece.size
    contours, _ = cv2.findContours(piece, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    found = []
    for contour in contours:
        area = cv2.contourArea(contour)
        if not least < area < most:
            continue
        hull = cv2.convexHull(contour)
        hull_area = cv2.contourArea(hull)
        corners = cv2.approxPolyDP(hull, 0.035 * cv2.arcLength(hull, True), True)
        if (
            area > shape.solid * hull_area
            and CORNERS[0] <= len(corners) <= CORNERS[1]
            and cv2.contourArea(corners) > (shape.whole if len(corners) == 4 else shape.cut) * hull_area
        ):
            found.append(hull)
    return found


def _distinct(outlines: list[NDArray[np.int32]]) -> list[NDArray[np.int32]]:
    """One outline of each sheet: of those with nearly the same box the middle one in size."""
    groups: list[list[tuple[NDArray[np.int64], NDArray[np.int32]]]] = []
    for outline in outlines:
        box = np.concatenate([outline.min(axis=(0, 1)), outline.max(axis=(0, 1))])
        for group in groups:
            if np.abs(group[0][0] - box).max() <= SAME_BOX:
                group.append((box, outline))
                break
        else:
            groups.append([(box, outline)])
    return [sorted(group, key=lambda g: cv2.contourArea(g[1]))[len(group) // 2][1] for group in groups]


def _judge_sheet(
    outline: NDArray[np.int32],
    tiny: NDArray[np.uint8],
    rgb8: NDArray[np.uint8],
    scale: float,
    teeth: float | None,
    parts: float | None,
) -> Neutral | None:
    """The neutral inside an outline; None when it is not of one colour or cannot be white."""
    mask = np.zeros(tiny.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, outline, 1)
    inside = cv2.erode(mask, np.ones((5, 5), np.uint8), borderValue=0).astype(bool)
    if np.count_nonzero(inside) < 40:
        return None
    red8, green8, blue8 = (channel[inside].astype(np.float32) for channel in cv2.split(tiny))
    level = (red8 + green8 + blue8) / np.float32(3)
    if float(level.std()) > UNIFORM * float(level.mean()) + 1.0:
        return None
    large = cv2.resize(inside.astype(np.uint8), rgb8.shape[1::-1], interpolation=cv2.INTER_NEAREST).astype(
        bool
    )
    shown = _median_light(rgb8, large)
    if shown.min() < 0.01:
        return None
    red, blue = np.log(shown[0] / shown[1]), np.log(shown[2] / shown[1])
    if not (RED[0] < red < RED[1] and BLUE[0] < blue < BLUE[1]):
        return None
    colour = _unrolled(shown)
    rest = float(_median_light(tiny[::3, ::3], ~inside[::3, ::3])[1])
    odds = _odds_of_paper(float(colour[1]), rest, teeth, parts)
    kind = "paper" if odds > 0 else "card"
    rows, columns = np.nonzero(inside)
    cut = (
        min(rows.min(), columns.min()) < 4 or rows.max() > len(tiny) - 5 or columns.max() > tiny.shape[1] - 5
    )
    if cut and inside.mean() < CUT_SHEET:
        return None
    centre = tuple(float((at.mean() + 0.5) * scale - 0.5) for at in (columns, rows))
    unrolled = float(np.log(colour / shown).max())
    return Neutral(
        kind, colour / REFLECTANCE[kind], (centre[0], centre[1]), large, unrolled, bool(cut), abs(odds)
    )


def _median_light(rgb8: NDArray[np.uint8], mask: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Median linear light under a mask, by channel; decoding keeps the order, so 8 bits do."""
    shown = np.ascontiguousarray(mask).view(np.uint8)
    left, top, width, height = cv2.boundingRect(shown)
    box = np.s_[top : top + height, left : left + width]
    picture, shown = np.ascontiguousarray(rgb8[box]), np.ascontiguousarray(shown[box])
    counts = np.stack([cv2.calcHist([picture], [c], shown, [256], [0, 256]).ravel() for c in range(3)])
    middle = (counts.cumsum(axis=1) < (counts[0].sum() + 1) // 2).sum(axis=1)
    return USUAL.decoded8(middle.astype(np.uint8)[None]).astype(np.float64)[0]


def _odds_of_paper(sheet: float, rest: float, teeth: float | None, parts: float | None) -> float:
    """Natural log of the odds that a sheet is paper and no card, by linear green of it and of the rest."""
    odds = OWN_LEVEL * np.log(sheet) + BENCH_LEVEL * np.log(max(rest, 1e-3) / sheet) + PAPER_BIAS
    if teeth is not None:
        odds += TEETH_LEVEL * np.clip(np.log(max(teeth, 1e-3) / sheet / TEETH_MIDDLE), -1, 1)
    if parts is not None:
        as_paper = parts * REFLECTANCE["paper"] / sheet
        odds += PARTS_LEVEL * max(0.0, np.log(max(as_paper, 1e-3) / BRIGHTEST_PARTS))
    return float(odds)


def _unrolled(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear light, the shoulder of the phone's tone curve undone."""
    way = np.clip((linear - SHOULDER) / (1 - SHOULDER), 0, NEXT_TO_WHITE)
    return np.where(way > 0, SHOULDER - (1 - SHOULDER) * STEEPNESS * np.log1p(-way), linear)


def _quality(neutral: Neutral) -> float:
    """Large, whole and not blown out; paper before card, as a grey square can be many things."""
    size = float(np.sqrt(neutral.mask.mean()))
    doubt = (0.5 if neutral.cut else 1.0) * (1.0 if neutral.kind == "paper" else 0.4)
    return size * doubt * float(np.exp(-4 * neutral.unrolled))
