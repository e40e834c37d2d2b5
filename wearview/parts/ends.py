"""The two ends of a band on a ribbon laid out straight, and the evidence that this can only be a band."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from wearview.parts.ribbon import REACH, Layout

LEANS = np.linspace(-0.36, 0.36, 9)  # columns per row: a bracket seen at a slant leans up to 20 degrees
SPAN = 0.1  # half widths to one of the row groups that are followed along the ribbon
MIN_CROSSING = 5.0  # 8-bit codes: edges across the ribbon; grain and mottle, averaged over rows, stay under 4
NEAREST, FARTHEST = 0.08, 0.9  # widths between the edges of one end: the bare strap and the bracket on it
SHORTEST, LONGEST = 2.8, 18.0  # widths from lining end to lining end
MOST_EDGES, MOST_HERE = 40, 3  # crossing edges looked at; pairs of them tried within one width
# Over 12 scenes of clutter and 60 of plates, with these nearly halved, only a screwdriver's shaft passed:
# 15 codes at its weaker end, 0.36 in `head`. 27 bands read at least 24 codes at the weaker end, at most
# 0.21 in `head`, and inside from 5 codes (a black lining on a black mat) to 137.
MIN_END, MIN_INSIDE, MAX_HEAD = 18.0, 3.5, 0.28
MIN_END_SEEN, MAX_HEAD_SEEN = 8.0, 0.8  # where the network sees the lining


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """Where a band ends on its ribbon, and the evidence for it.

    Attributes
    ----------
    left_strap, left_lining, right_lining, right_strap : float
        u of the edges on the middle line.
    left_lean, right_lean : float
        How far the edges run along the ribbon per step across it.
    left, right : float
        Colour step of the edges that cross the ribbon at each end, 8-bit codes.
    inside : float
        Colour step across the sides between the ends, codes; three tenths of the length have less.
    head : float
        Edges just outside the sides at the ends over those inside: tools have heads wider than their shafts.
    beyond : float
        Colour step across where the sides would go on past the ends, codes.
    """

    left_strap: float
    left_lining: float
    right_lining: float
    right_strap: float
    left_lean: float
    right_lean: float
    left: float
    right: float
    inside: float
    head: float
    beyond: float

    @property
    def score(self) -> float:
        """For ranking ribbons of one photo."""
        return float(_worth(*(np.array(x) for x in (self.left, self.right, self.inside, self.beyond))))

    @property
    def confidence(self) -> float:
        """0..1, the weakest of its pieces of evidence, each 0.5 where a ribbon barely convinces."""
        margin = min(
            min(self.left, self.right) / MIN_END - 1,
            self.inside / MIN_INSIDE - 1,
            2 * (1 - self.head / MAX_HEAD),
        )
        return float(np.clip(0.5 + 0.35 * margin, 0.05, 0.98))

    def scaled(self, factor: float) -> "Ends":
        """The same ends on a ribbon `factor` times as large."""
        return replace(
            self,
            left_strap=self.left_strap * factor,
            left_lining=self.left_lining * factor,
            right_lining=self.right_lining * factor,
            right_strap=self.right_strap * factor,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Colour steps along a ribbon laid out straight, by groups of rows.

    Attributes
    ----------
    steps : ndarray, shape (groups, columns, 3)
        Change of colour along the ribbon, 8-bit codes.
    t : ndarray, shape (groups,)
        Where the groups lie, half widths from the middle.
    half_rows : float
        Columns to half a width.
    margin : int
        Columns that an edge may be away from where it meets the middle line.
    seen : ndarray of bool, shape (columns,)
        Where all of that is in the photo.
    """

    steps: NDArray[np.float32]
    t: NDArray[np.floating]
    half_rows: float
    margin: int
    seen: NDArray[np.bool_]

    def across(
        self, low: float, high: float, leans: NDArray[np.float64] = LEANS
    ) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
        """Largest step of the rows low <= t <= high averaged along a lean, and that lean, for each column."""
        chosen = np.nonzero((self.t >= low) & (self.t <= high))[0]
        columns = self.steps.shape[1]
        best, lean = np.full(columns, -1, np.float32), np.zeros(columns)
        padded = np.pad(self.steps[chosen], ((0, 0), (self.margin, self.margin), (0, 0)))
        for k in leans:
            starts = self.margin + np.rint(k * self.t[chosen] * self.half_rows).astype(int)
            total = np.zeros((columns, 3), np.float32)
            for rows, start in zip(padded, starts, strict=True):
                total += rows[start : start + columns]
            size = np.abs(total).max(axis=1) / len(chosen)
            better = size > best
            best[better], lean[better] = size[better], k
        best[~self.seen] = 0
        return best, lean


def find_crossings(layout: Layout) -> Crossings:
    """What crosses a ribbon."""
    each = max(1, round(layout.rows * SPAN / 2))
    half = len(layout.t) // 2
    count = 2 * (half // each)
    first = half - (count // 2) * each
    rows = layout.rgb8[first : first + count * each].astype(np.float32)
    groups = rows.reshape(count, each, rows.shape[1], 3).mean(axis=1)
    reach = max(2, layout.rows // 20)
    kernel = np.concatenate([np.full(reach, -1.0), [0.0], np.full(reach, 1.0)])[None] / reach
    steps = cv2.filter2D(groups, cv2.CV_32F, kernel, borderType=cv2.BORDER_REPLICATE)
    half_rows = layout.rows / 2
    margin = reach + math.ceil(REACH * float(LEANS[-1]) * half_rows)
    window = np.ones((1, 2 * margin + 1), np.uint8)
    seen = cv2.erode(
        layout.inside.astype(np.uint8)[None], window, borderType=cv2.BORDER_CONSTANT, borderValue=0
    )
    return Crossings(
        np.asarray(steps, np.float32),
        (np.arange(count) - count / 2 + 0.5) * (each * 2 / layout.rows),
        half_rows,
        margin,
        seen[0].astype(bool),
    )


def judge_ends(layout: Layout, lining_seen: bool = False) -> Ends | None:
    """The two ends that most speak for a band; None where they would not convince.

    Each end must show two edges across the ribbon, the sides a change of colour all along, and nothing beside
    the ends may be wider than the ribbon. Where the network sees a band's lining all along, less will do.
    """
    min_end, max_head = (MIN_END_SEEN, MAX_HEAD_SEEN) if lining_seen else (MIN_END, MAX_HEAD)
    crossings = find_crossings(layout)
    edge, lean = crossings.across(-0.6, 0.6)
    pairs, strength = _edge_pairs(edge, layout.rows)
    if len(pairs) < 2:
        return None
    contrast = _side_contrast(layout)
    left, right = np.meshgrid(np.arange(len(pairs)), np.arange(len(pairs)), indexing="ij")
    outer_left, inner_left, inner_right, outer_right = (
        pairs[left, 0], pairs[left, 1], pairs[right, 0], pairs[right, 1],
    )  # fmt: skip
    length = inner_right - inner_left
    inside = _mean(contrast, inner_left, inner_right)
    reach, skip = layout.rows // 2, layout.rows // 10
    beyond = 0.5 * (
        _mean(contrast, outer_left - reach, outer_left - skip)
        + _mean(contrast, outer_right + skip, outer_right + reach)
    )
    worth = _worth(strength[left], strength[right], inside, beyond)
    worth[(length < SHORTEST * layout.rows) | (length > LONGEST * layout.rows)] = -np.inf
    best = np.unravel_index(int(worth.argmax()), worth.shape)
    if not np.isfinite(worth[best]):
        return None
    columns = [int(c[best]) for c in (outer_left, inner_left, inner_right, outer_right)]
    inside_low = float(np.quantile(contrast[columns[1] + 2 : columns[2] - 1], 0.3))
    if min(strength[left[best]], strength[right[best]]) < min_end or inside_low < MIN_INSIDE:
        return None
    # A sheet of paper may touch one side: only what sticks out on both is a head.
    outside = np.minimum(crossings.across(-1.5, -1.2)[0], crossings.across(1.2, 1.5)[0])
    head = max(
        float(outside[max(0, first - skip) : last + skip].max()) / float(strength[end])
        for first, last, end in (
            (columns[0], columns[1], left[best]), (columns[2], columns[3], right[best]),
        )
    )  # fmt: skip
    if head > max_head:
        return None
    left_strap, left_lining, right_lining, right_strap = (float(layout.u[c]) for c in columns)
    return Ends(
        left_strap,
        left_lining,
        right_lining,
        right_strap,
        left_lean=float(lean[columns[1]]),
        right_lean=float(lean[columns[2]]),
        left=float(strength[left[best]]),
        right=float(strength[right[best]]),
        inside=inside_low,
        head=head,
        beyond=float(beyond[best]),
    )


def _worth(
    left: NDArray[np.floating],
    right: NDArray[np.floating],
    inside: NDArray[np.floating],
    beyond: NDArray[np.floating],
) -> NDArray[np.floating]:
    """How much speaks for a pair of ends: edges across both, a side between them, none beyond; codes."""
    return np.minimum(left, right) + 0.5 * np.maximum(left, right) + inside - beyond


def _mean(
    values: NDArray[np.floating], first: NDArray[np.intp], last: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Mean over [first, last), each cut to what there is; 0 of nothing."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    first, last = np.clip(first, 0, len(values)), np.clip(last, 0, len(values))
    return np.where(last > first, (total[last] - total[first]) / np.maximum(last - first, 1), 0.0)


def _side_contrast(layout: Layout) -> NDArray[np.float32]:
    """Colour step across the weaker side for each column, averaged over a quarter of a width."""
    t, picture = layout.t, layout.rgb8

    def rows(low: float, high: float) -> NDArray[np.float32]:
        chosen = picture[(t > low) & (t < high)]
        return np.asarray(cv2.reduce(chosen, 0, cv2.REDUCE_AVG, dtype=cv2.CV_32F)[0], np.float32)

    upper = np.abs(rows(-0.9, -0.6) - rows(-1.5, -1.15)).max(axis=1)
    lower = np.abs(rows(0.6, 0.9) - rows(1.15, 1.5)).max(axis=1)
    return np.asarray(cv2.blur(np.minimum(upper, lower)[None], (layout.rows // 4, 1))[0], np.float32)


def _edge_pairs(edge: NDArray[np.float32], rows: int) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Columns (left, right) of neighbouring edges, shape (N, 2), and their strength; few from one place."""
    wide = cv2.dilate(edge[None], np.ones((1, 2 * (rows // 20) + 1), np.uint8))[0]
    peaks = np.nonzero((edge >= wide) & (edge >= MIN_CROSSING))[0]
    peaks = np.sort(peaks[np.argsort(-edge[peaks], kind="stable")[:MOST_EDGES]])
    first, second = np.nonzero(np.triu(np.ones((len(peaks), len(peaks)), bool), 1))
    apart = peaks[second] - peaks[first]
    near = (apart >= NEAREST * rows) & (apart <= FARTHEST * rows)
    pairs = np.stack([peaks[first[near]], peaks[second[near]]], axis=1)
    strength = np.sqrt(edge[pairs[:, 0]].astype(float) * edge[pairs[:, 1]])
    chosen: list[int] = []
    for i in np.argsort(-strength, kind="stable"):
        if sum(abs(pairs[i, 0] - pairs[k, 0]) < rows for k in chosen) < MOST_HERE:
            chosen.append(int(i))
    return pairs[chosen], strength[chosen]
