"""The rails, sides and ends of a band, settled on its ribbon laid out straight."""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.ends import FARTHEST, MIN_CROSSING, NEAREST, Crossings, Ends, find_crossings
from wearview.parts.ribbon import Layout, Ribbon

EDGE = np.array([-1, -1, 0, 1, 1], np.float32) / 2  # a step of two samples to either side
BLOCKS = 16  # pieces of its length in which a side is followed
SEARCH = (0.62, 1.5)  # half widths from the middle within which a side lies
CAP = 40.0  # codes per row from which on an edge pulls no harder: a sheet's border is not the better side
STIFF = 0.6  # codes per row squared that a side pays for moving between blocks
MOST_SHIFT = 4  # rows by which a piece of a side may still be off
STEEP = 0.35  # of the steepest edge outside the lining: what is less is a soft shadow
THIN_SHADOW = 0.04  # widths: how far out of the dark line the strap may still reach
WIDEST_STRAP = 0.13  # widths of strap and of its wall, seen at a slant, beside the lining
LESS_CLEAR = 0.35  # of an end's strength that the lining's own edge must have
SUDDEN = 0.5  # share of its change of colour that four columns must hold: burnt zones begin more softly
# What is still lining: codes from its colour, or a share of the largest change on that side
PLATEAU, SLIGHT = 4.0, 0.12


@dataclass(frozen=True, slots=True)
class Sides:
    """Where lining and strap end sideways, in half widths of the ribbon (t, -1 on its upper rail)."""

    upper_strap: float
    upper_lining: float
    lower_lining: float
    lower_strap: float


def straighten(layout: Layout, ribbon: Ribbon, ends: Ends) -> Ribbon:
    """The ribbon with its rails drawn as quadratics through the clearest edge along each side.

    Parameters
    ----------
    layout : Layout
        Of `ribbon`.
    ends : Ends
        The sides are followed from lining end to lining end.
    """
    middle, blocks = _blocks(layout, ends)
    step = np.minimum(np.abs(_row_steps(blocks)).max(axis=2), CAP)
    sides = []
    for side in (-1, 1):
        rows = np.nonzero((side * layout.t > SEARCH[0]) & (side * layout.t < SEARCH[1]))[0]
        sides.append(layout.t[rows[_best_path(step[rows])]])
    return _redrawn(ribbon, middle, sides, 2 / layout.rows, 2)


def align(layout: Layout, ribbon: Ribbon, ends: Ends) -> Ribbon:
    """The ribbon, its rails moved so that what runs along each side lies in the same rows all along.

    The clearest edge may be the strap's in one place and the lining's in another; together they settle it.
    """
    middle, blocks = _blocks(layout, ends)
    step = np.minimum(np.abs(_row_steps(blocks)).max(axis=2), CAP)
    shifts = np.arange(-MOST_SHIFT, MOST_SHIFT + 1)
    sides = []
    for side in (-1, 1):
        rows = np.nonzero((side * layout.t > SEARCH[0] + 0.1) & (side * layout.t < SEARCH[1] - 0.2))[0]
        usual = np.median(step[rows], axis=1)
        match = np.stack([usual @ step[rows + d] for d in shifts])
        best = match.argmax(axis=0).clip(1, len(shifts) - 2)
        below, top, above = (match[best + d, np.arange(BLOCKS)] for d in (-1, 0, 1))
        bow = np.maximum(2 * top - below - above, 1e-6)
        shift = shifts[best] + np.clip((above - below) / (2 * bow), -1, 1)
        sides.append(side + shift * (2 / layout.rows))
    return _redrawn(ribbon, middle, sides, 2 / layout.rows, 4)


def _redrawn(
    ribbon: Ribbon, middle: NDArray[np.float64], sides: list[NDArray[np.floating]], row: float, degree: int
) -> Ribbon:
    """The ribbon with polynomial rails through points (u, t) of its upper and lower side."""
    curves = []
    for t in sides:
        smooth = np.polyval(np.polyfit(middle, t, 2), middle)
        true = np.abs(t - smooth) < 2.5 * row
        if true.sum() < BLOCKS // 2:
            true[:] = True
        xy = ribbon.at(middle[true], t[true]) - ribbon.origin
        curves.append(np.polyfit(xy @ ribbon.along, xy @ ribbon.across, degree))
    return replace(ribbon, upper=curves[0], lower=curves[1])


def _blocks(layout: Layout, ends: Ends) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """u of the middles of the pieces between the lining's ends, and each row's median colour there.

    Returns
    -------
    tuple of ndarray
        Shapes (BLOCKS,) and (rows, BLOCKS, 3).
    """
    pad = 0.01 * (ends.right_lining - ends.left_lining)
    cuts = np.searchsorted(layout.u, np.linspace(ends.left_lining + pad, ends.right_lining - pad, BLOCKS + 1))
    blocks = [np.median(layout.rgb8[:, a:b], axis=1) for a, b in pairwise(cuts)]
    return layout.u[(cuts[:-1] + cuts[1:]) // 2], np.stack(blocks, axis=1).astype(np.float32)


def _row_steps(blocks: NDArray[np.float32]) -> NDArray[np.float32]:
    """Change of colour at each row of each block, 8-bit codes by channel; same shape."""
    steps = cv2.filter2D(blocks, cv2.CV_32F, EDGE[:, None], borderType=cv2.BORDER_REPLICATE)
    return np.asarray(steps, np.float32)


def _best_path(gain: NDArray[np.float32]) -> NDArray[np.intp]:
    """Row of each column on the path of largest gain, which pays for moving between rows."""
    n, columns = gain.shape
    move = STIFF * (np.arange(n)[:, None] - np.arange(n)[None, :]) ** 2
    total, back = gain[:, 0].astype(float), np.zeros((columns, n), np.intp)
    for c in range(1, columns):
        reached = total[None, :] - move
        back[c] = reached.argmax(axis=1)
        total = reached.max(axis=1) + gain[:, c]
    path = [int(total.argmax())]
    for c in range(columns - 1, 0, -1):
        path.append(int(back[c, path[-1]]))
    return np.array(path[::-1])


def settle_sides(layout: Layout, ends: Ends) -> Sides:
    """Where strap and lining end on both sides of a straightened band."""
    blocks = _blocks(layout, ends)[1]
    half = len(layout.t) // 2
    upper_lining, upper_strap = _settle_side(blocks[half::-1], layout.rows)
    lower_lining, lower_strap = _settle_side(blocks[half:], layout.rows)
    return Sides(-upper_strap, -upper_lining, lower_lining, lower_strap)


def _settle_side(blocks: NDArray[np.float32], rows: int) -> tuple[float, float]:
    """Half widths from the middle line to the edge of the lining and to that of the strap.

    Parameters
    ----------
    blocks : ndarray, shape (N, BLOCKS, 3)
        Colours from the middle line outwards, in pieces along the band.
    rows : int
        Samples to one width of the ribbon.
    """
    half = rows // 2
    clean = np.median(blocks[round(0.55 * half) : round(0.75 * half)], axis=0)
    away = np.median(np.abs(blocks - clean).max(axis=2), axis=1)
    limit = max(PLATEAU, SLIGHT * float(away[half : half + rows // 8].max()))
    run, first = max(2, rows // 30), round(0.75 * half)
    # The ribbon's rail is the clearest edge of this side, so the lining does not go on past it.
    plain = [i for i in range(first, half + 2) if (away[i - run + 1 : i + 1] < limit).all()]
    lining = (plain[-1] if plain else half) + 0.5

    # What two thirds of the length agree on: grain and mottle differ in sign, a sheet's border in its place.
    low, high = np.quantile(_row_steps(blocks), (1 / 3, 2 / 3), axis=1)
    step = np.maximum(np.maximum(low, -high), 0).max(axis=1)
    start, stop = math.floor(lining) - 1, min(math.ceil(lining + WIDEST_STRAP * rows), len(blocks) - 3)
    rows_out = np.arange(start, stop)
    clear = step[rows_out] >= STEEP * step[rows_out].max()
    peaks = rows_out[clear & (step[rows_out] >= step[rows_out - 1]) & (step[rows_out] >= step[rows_out + 1])]
    light = np.median(blocks.mean(axis=2), axis=1)
    outer = int(peaks[-1]) if len(peaks) else half
    strap = float(outer)
    if light[outer + 2] > light[outer - 2]:
        # Bench beyond something dark: the strap's wall, its shadow, or both; the strap ends within it.
        falls = [int(p) for p in peaks[:-1] if light[p + 2] < light[p - 2]]
        if falls:
            strap = falls[-1] + min((outer - falls[-1]) / 2, THIN_SHADOW * rows)
    return lining / half, max(lining, strap) / half


def settle_ends(layout: Layout, ends: Ends) -> Ends:
    """The same ends with the lining's edges where its colour stops, and the strap's as far out as it shows.

    The clearest edges across an end are those of the bracket. The lining ends at the innermost edge whose two
    sides differ in colour; a groove has the same lining on both. The strap shows beside the bracket, in both
    corners.
    """
    lining = [
        _lining_end(layout, *each)
        for each in (
            (ends.left_strap, ends.left_lining, ends.left_lean, ends.left),
            (ends.right_strap, ends.right_lining, ends.right_lean, ends.right),
        )
    ]
    crossings = find_crossings(layout)
    strap = [
        _strap_end(layout, crossings, lining_end, *each)
        for lining_end, each in zip(
            lining,
            ((ends.left_strap, ends.left_lean, ends.left), (ends.right_strap, ends.right_lean, ends.right)),
            strict=True,
        )
    ]
    return replace(
        ends, left_strap=strap[0], left_lining=lining[0], right_lining=lining[1], right_strap=strap[1]
    )


def _strap_end(
    layout: Layout, crossings: Crossings, lining: float, strap: float, lean: float, strength: float
) -> float:
    """u of the outermost edge that both corners of an end show, `strap` where none lies farther out."""
    outer, inner = (int(np.searchsorted(layout.u, x)) for x in (strap, lining))
    outwards = 1 if outer > inner else -1
    leans = np.array([lean])
    corners = np.minimum(crossings.across(-0.98, -0.75, leans)[0], crossings.across(0.75, 0.98, leans)[0])
    least = max(MIN_CROSSING, LESS_CLEAR * strength)
    best = strap
    first = outer + outwards * round(NEAREST * layout.rows)
    for i in range(first, inner + outwards * round(FARTHEST * layout.rows), outwards):
        inside = 3 < i < len(corners) - 4
        if inside and corners[i] == corners[i - 3 : i + 4].max() and corners[i] >= least:
            best = float(layout.u[i])
    return best


def _lining_end(layout: Layout, strap: float, edge: float, lean: float, strength: float) -> float:
    """u of the innermost edge of an end that parts two colours, `edge` where there is none."""
    t, rows = layout.t, layout.rows
    chosen = np.abs(t) < 0.75
    shift = np.rint(lean * t[chosen] * (rows / 2)).astype(int)
    columns = np.clip(np.arange(len(layout.u))[None, :] + shift[:, None], 0, len(layout.u) - 1)
    straight = layout.rgb8[np.nonzero(chosen)[0][:, None], columns]
    colour = np.median(straight, axis=0).astype(np.float32)
    outer, inner = (int(np.searchsorted(layout.u, x)) for x in (strap, edge))
    inwards = 1 if inner > outer else -1
    near, far = max(2, rows // 30), rows // 7
    sharp = np.abs(cv2.filter2D(colour[None], -1, EDGE[None], borderType=cv2.BORDER_REPLICATE)[0]).max(axis=1)
    best = edge
    for i in range(outer, inner + inwards * round(0.7 * rows), inwards):
        if not far < i < len(colour) - far - 1 or sharp[i] < sharp[i - 2 : i + 3].max():
            continue
        before, after = colour[i - far : i - near + 1], colour[i + near : i + far + 1]
        change = float(np.abs(np.median(before, axis=0) - np.median(after, axis=0)).max())
        if change >= max(6.0, LESS_CLEAR * strength) and sharp[i] >= SUDDEN * change:
            best = float(layout.u[i])
    return best
