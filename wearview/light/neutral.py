"""Plain white paper and grey cards in view: flat, four-cornered, of one colour, and as grey as the light lets
them be."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.colour import srgb_to_linear

# Reflectance of what people lay beside the part. Office paper reflects 0.82 to 0.92 of the light, a
# photographer's grey card 0.18 by definition (both from memory).
REFLECTANCE = {"paper": 0.87, "card": 0.18}
SIDE = 480  # long side of the copy in which sheets are sought
MIN_AREA, MAX_AREA = 0.004, 0.40  # of the photo
LEVELS = 18  # thresholds per map and polarity
SOLID = 0.93  # area over the area of the convex hull
CORNERS = (4, 6)  # a sheet whole in view has four, one cut by two edges of the frame six
CUT_CARD = 0.03  # of the photo
SAMPLE = 20_000  # pixels of a sheet that its colour is read from
SAME_BOX = 8  # pixels of the small copy
UNIFORM = 0.075  # scatter of a sheet's smoothed level over the level itself
# Log ratios of red and blue to green under which a sheet can still be white: the phone's own white balance
# has taken out most of the lamp. Cardboard (about +0.3, -0.6) and blue shop towels (-0.4, +0.4) lie outside.
RED, BLUE = (-0.32, 0.32), (-0.52, 0.36)
# A phone rolls highlights off instead of breaking them: above the shoulder a code stands for more light than
# sRGB says. Shape and place are those of our rendered phones, so what is undone adds to the uncertainty.
SHOULDER, STEEPNESS = 0.9, 1.6  # linear; light over code just above it
NEXT_TO_WHITE = 0.95  # of the way from the shoulder to white; beyond, a code says nothing more
# Bare teeth reflect about 0.3 of the light, 0.1 to 0.8 with their sheen. Against a card taken for paper they
# would come out 4.8 times as bright: this is the geometric middle.
BRIGHTEST_TEETH = 0.66
# Without teeth: paper outshines what a phone exposes for, a card is about as bright.
PAPER_OVER_REST = 2.0


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
    """

    kind: str
    white: NDArray[np.float64]
    centre: tuple[float, float]
    mask: NDArray[np.bool_]
    unrolled: float
    cut: bool


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
    thresholds.
    """
    height, width = taken.shape
    factor = min(1.0, SIDE / max(height, width))
    size = (round(width * factor), round(height * factor))
    tiny = cv2.GaussianBlur(cv2.resize(rgb8, size, interpolation=cv2.INTER_AREA), (0, 0), 1.2)
    free = cv2.resize(taken.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) == 0
    outlines: list[NDArray[np.int32]] = []
    for level in _maps(tiny):
        seen = level[free]
        if not seen.size:
            continue
        darkest, brightest = np.quantile(seen, (0.01, 0.999))
        steps = np.linspace(float(darkest), float(brightest), LEVELS)[1:-1]
        for limit in np.unique(steps):
            for piece in (level > limit, level < limit):
                outlines.extend(_sheets((piece & free).astype(np.uint8)))
    found: list[Neutral] = []
    for outline in _distinct(outlines):
        neutral = _judge_sheet(outline, tiny, rgb8, 1 / factor, teeth)
        if neutral is not None:
            found.append(neutral)
    found.sort(key=lambda n: -_quality(n))
    return found


def _maps(rgb8: NDArray[np.uint8]) -> list[NDArray[np.float32]]:
    """Darkest channel (white stands out from any colour), brightest channel, colourfulness."""
    low = cv2.min(cv2.min(rgb8[..., 0], rgb8[..., 1]), rgb8[..., 2]).astype(np.float32)
    high = cv2.max(cv2.max(rgb8[..., 0], rgb8[..., 1]), rgb8[..., 2]).astype(np.float32)
    return [low, high, 255 * (high - low) / np.maximum(high, 8)]


def _sheets(piece: NDArray[np.uint8]) -> list[NDArray[np.int32]]:
    """Four-cornered outlines among the connected pieces of a mask."""
    height, width = piece.shape
    opened = cv2.morphologyEx(piece, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    contours, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    found = []
    for contour in contours:
        if len(contour) < 4:
            continue
        area = cv2.contourArea(contour)
        if not MIN_AREA * height * width < area < MAX_AREA * height * width:
            continue
        hull = cv2.convexHull(contour)
        hull_area = cv2.contourArea(hull)
        corners = cv2.approxPolyDP(hull, 0.035 * cv2.arcLength(hull, True), True)
        if (
            area > SOLID * hull_area
            and CORNERS[0] <= len(corners) <= CORNERS[1]
            and cv2.contourArea(corners) > (0.88 if len(corners) == 4 else 0.94) * hull_area
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
) -> Neutral | None:
    """The neutral inside an outline; None when it is not of one colour or cannot be white."""
    mask = np.zeros(tiny.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, outline, 1)
    inside = cv2.erode(mask, np.ones((5, 5), np.uint8), borderValue=0).astype(bool)
    if inside.sum() < 40:
        return None
    level = tiny[inside].astype(np.float32).mean(axis=1)
    if float(level.std()) > UNIFORM * float(level.mean()) + 1.0:
        return None
    large = cv2.resize(inside.astype(np.uint8), rgb8.shape[1::-1], interpolation=cv2.INTER_NEAREST).astype(
        bool
    )
    shown = np.median(srgb_to_linear(rgb8[large]), axis=0).astype(float)
    if shown.min() < 0.01:
        return None
    red, blue = np.log(shown[0] / shown[1]), np.log(shown[2] / shown[1])
    if not (RED[0] < red < RED[1] and BLUE[0] < blue < BLUE[1]):
        return None
    colour = _unrolled(shown)
    rest = float(np.median(srgb_to_linear(tiny[::3, ::3][~inside[::3, ::3]][:, 1])))
    doubt = 0.8 * float(np.clip(np.log(PAPER_OVER_REST * rest / colour[1]), -1.5, 1.5))
    if teeth is not None:
        as_paper = teeth * REFLECTANCE["paper"] / colour[1]
        doubt += float(np.clip(np.log(as_paper / BRIGHTEST_TEETH), -1, 1))
    kind = "card" if doubt > 0 else "paper"
    rows, columns = np.nonzero(inside)
    cut = (
        min(rows.min(), columns.min()) < 4 or rows.max() > len(tiny) - 5 or columns.max() > tiny.shape[1] - 5
    )
    if kind == "card" and cut and inside.mean() < CUT_CARD:
        return None  # part of anything grey can look like a card where the frame cuts it
    centre = tuple(float((at.mean() + 0.5) * scale - 0.5) for at in (columns, rows))
    unrolled = float(np.log(colour / shown).max())
    return Neutral(kind, colour / REFLECTANCE[kind], (centre[0], centre[1]), large, unrolled, bool(cut))


def _unrolled(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear light, the shoulder of the phone's tone curve undone."""
    way = np.clip((linear - SHOULDER) / (1 - SHOULDER), 0, NEXT_TO_WHITE)
    return np.where(way > 0, SHOULDER - (1 - SHOULDER) * STEEPNESS * np.log1p(-way), linear)


def _quality(neutral: Neutral) -> float:
    """Large, whole and not blown out; paper before card, as a grey square can be many things."""
    size = float(np.sqrt(neutral.mask.mean()))
    doubt = (0.5 if neutral.cut else 1.0) * (1.0 if neutral.kind == "paper" else 0.4)
    return size * doubt * float(np.exp(-4 * neutral.unrolled))
