"""Open transmission bands, lying lining up: long strips with a metal bracket on each end.

1. Long smooth edges of a small copy that run side by side make ribbons.
2. A ribbon is laid out straight. Where a band ends, two or more straight edges cross it, those of the bare
   strap and of the bracket; beyond them it must stop and nothing may widen, as the heads of a wrench do.
3. The rails and ends are settled in the working copy, and with them the masks.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.ends import Ends, judge_ends
from wearview.parts.learned import Sight, band_seen
from wearview.parts.proposed import ribbons_seen
from wearview.parts.rails import find_rails
from wearview.parts.ribbon import Ribbon, find_ribbons, lay_out
from wearview.parts.strap import Sides, align, settle_ends, settle_sides, straighten

SMALL = 800  # long side of the copy in which ribbons are sought
MOST_RIBBONS = 8
COARSE, FINE = 40, 80  # rows to a width: to judge, and to settle
SPINE_POINTS = 65
BRIGHT, MOST_GAIN = 160.0, 2.5  # 8-bit code of the brightest hundredth that is left as it is
SUBPIXEL = 4  # bits
MOST_CHANGE = 1.6  # of a ribbon's width while its rails are settled
# Mean chance of lining along a band that the network led to: of tuned ones the least is 0.95, of what is none
# the most 0.66.
SURE_LINING = 0.8
MOST_TAKEN = 0.1  # of a band's lining that may lie under plates already found


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """A band in the working copy.

    Attributes
    ----------
    spine : ndarray, shape (N, 2)
        x, y along the middle of the lining, working-copy pixels, from its left or upper end.
    width : float
        Of the lining, square to the spine in its middle, working-copy pixels.
    origin : tuple of int
        x, y of the crop's top-left pixel.
    part, face : ndarray of bool, shape (h, w)
        The whole band with strap and brackets; its lining.
    confidence : float
        0..1.
    problems : tuple of str
        Names from `terms.PROBLEMS`.
    """

    spine: NDArray[np.float64]
    width: float
    origin: tuple[int, int]
    part: NDArray[np.bool_]
    face: NDArray[np.bool_]
    confidence: float
    problems: tuple[str, ...]


def find_bands(
    working: NDArray[np.uint8], taken: NDArray[np.bool_], sight: Sight | None = None
) -> list[Band]:
    """Bands of a photo, the surest first.

    Parameters
    ----------
    working : ndarray, shape (H, W, 3), uint8
        sRGB, long side at most 1600.
    taken : ndarray of bool, shape (H, W)
        Plates already found; a band never covers them.
    sight : Sight, optional
        What the network sees: along a lining in it less evidence will do.
    """
    height, width = working.shape[:2]
    # A dark photo is brightened, so that codes mean the same contrast in all of them.
    bright = float(np.percentile(working[::8, ::8], 99))
    if bright < BRIGHT:
        gain = min(MOST_GAIN, BRIGHT / max(bright, 1.0))
        working = np.asarray(cv2.convertScaleAbs(working, alpha=gain), np.uint8)
    factor = max(1.0, max(height, width) / SMALL)
    size = (round(width / factor), round(height / factor))
    small = np.asarray(cv2.resize(working, size, interpolation=cv2.INTER_AREA), np.uint8)
    scale = width / size[0]
    ribbons = [(ribbon, False) for ribbon in find_ribbons(small, find_rails(small), MOST_RIBBONS)]
    ribbons += [(ribbon, True) for ribbon in ([] if sight is None else ribbons_seen(sight, scale))]
    likely = []
    for ribbon, seen in ribbons:
        ends = judge_ends(lay_out(small, ribbon, COARSE, 0.3), seen)
        if ends is not None:
            likely.append((ribbon.scaled(scale), ends.scaled(scale), seen))
    bands: list[Band] = []
    covered = taken.copy()
    for ribbon, ends, seen in sorted(likely, key=lambda found: (found[2], -found[1].score)):
        if _share_covered(ribbon, ends, covered) > MOST_TAKEN:
            continue
        band = _settle(working, ribbon, ends, covered, sight if seen else None)
        if band is not None:
            bands.append(band)
            (x, y), (h, w) = band.origin, band.part.shape
            covered[y : y + h, x : x + w] |= band.part
    return bands


def _share_covered(ribbon: Ribbon, ends: Ends, covered: NDArray[np.bool_]) -> float:
    """Share of the middle of a band's lining that lies on parts already found."""
    middle = ribbon.at(np.linspace(ends.left_lining, ends.right_lining, SPINE_POINTS), np.zeros(1))
    x, y = np.rint(middle).astype(int).T
    return float(covered[y.clip(0, covered.shape[0] - 1), x.clip(0, covered.shape[1] - 1)].mean())


def _settle(
    working: NDArray[np.uint8], ribbon: Ribbon, ends: Ends, covered: NDArray[np.bool_], sight: Sight | None
) -> Band | None:
    """The band on a ribbon with these ends; None when it no longer convinces at full sharpness.

    With ``sight`` the network must be sure of its lining, and less than that will do for its edges.
    """
    about = ribbon.width
    for settle in (straighten, align):
        ribbon = replace(ribbon, low=ends.left_strap, high=ends.right_strap)
        ribbon = settle(lay_out(working, ribbon, FINE, 0.0), ribbon, ends)
        if not about / MOST_CHANGE < ribbon.width < about * MOST_CHANGE:
            return None
    layout = lay_out(working, ribbon, FINE, 1.2 * ribbon.width / (ribbon.high - ribbon.low))
    sure = judge_ends(layout, sight is not None)
    if sure is None:
        return None
    band = _draw(ribbon, settle_ends(layout, sure), settle_sides(layout, sure), covered)
    if sight is None or band is None:
        return band
    chance = band_seen(sight, band.spine)
    return replace(band, confidence=max(band.confidence, chance / 2)) if chance > SURE_LINING else None


def _draw(ribbon: Ribbon, ends: Ends, sides: Sides, covered: NDArray[np.bool_]) -> Band | None:
    """The masks of a band; None where it has left the photo."""
    height, width = covered.shape
    lean = ribbon.width / 2 * np.array([ends.left_lean, ends.right_lean])
    strap = _outline(
        ribbon, (ends.left_strap, ends.right_strap), lean, (sides.upper_strap, sides.lower_strap)
    )
    lining = _outline(
        ribbon, (ends.left_lining, ends.right_lining), lean, (sides.upper_lining, sides.lower_lining)
    )
    x0, y0 = (int(v) for v in np.maximum(np.floor(strap.min(axis=0)) - 1, 0))
    x1, y1 = (int(v) for v in np.minimum(np.ceil(strap.max(axis=0)) + 2, [width, height]))
    if x1 - x0 < 2 or y1 - y0 < 2:
        return None
    part, face = (fill(outline - [x0, y0], (y1 - y0, x1 - x0)) for outline in (strap, lining))
    part &= ~covered[y0:y1, x0:x1]
    u = np.linspace(ends.left_lining, ends.right_lining, SPINE_POINTS)
    cut_off = bool(((strap < 0) | (strap > [width - 1, height - 1])).any())
    return Band(
        spine=ribbon.at(u, np.array((sides.upper_lining + sides.lower_lining) / 2)),
        width=ribbon.width * (sides.lower_lining - sides.upper_lining) / 2,
        origin=(x0, y0),
        part=part,
        face=face & part,
        confidence=ends.confidence,
        problems=("cut off by the frame",) if cut_off else (),
    )


def fill(outline: NDArray[np.float64], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """The pixels of an image of this (height, width) inside an outline (n, 2)."""
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.rint(outline * 2**SUBPIXEL).astype(np.int32)], (1,), shift=SUBPIXEL)
    return mask.astype(bool)


def _outline(
    ribbon: Ribbon, span: tuple[float, float], lean: NDArray[np.float64], sides: tuple[float, float]
) -> NDArray[np.float64]:
    """Corners x, y, clockwise, of the stretch of a ribbon between two leaning ends and two sides."""
    share = np.linspace(0, 1, SPINE_POINTS)
    edges = []
    for t in sides:
        left, right = span[0] + lean[0] * t, span[1] + lean[1] * t
        edges.append(ribbon.at(left + share * (right - left), np.array(t)))
    return np.vstack([edges[0], edges[1][::-1]])
