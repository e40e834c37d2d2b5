"""Trend of the heat score along the pack."""

import math
import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

# Three plates in perfect order reach only p 0.333, four 0.083: under five no p says anything (contract).
FEWEST_FOR_P = 5


@dataclass(frozen=True, slots=True)
class Trend:
    """Trend over plates; None where it cannot be had.

    Attributes
    ----------
    slope_per_position : float or None
        Theil-Sen: the median of the slopes of all pairs, in score per position; None under two plates.
    kendall_tau : float or None
        tau-b; None under two plates or when all scores are equal.
    p_value : float or None
        Two-sided, from the exact distribution over all orders of the same scores; None under five plates.
    plates : int
        How many plates it rests on.
    """

    slope_per_position: float | None
    kendall_tau: float | None
    p_value: float | None
    plates: int


def find_trend(positions: Sequence[int], scores: Sequence[float]) -> Trend:
    """Trend of `scores` over `positions`, one of each per plate, no position twice.

    Raises
    ------
    ValueError
        When a position comes twice.

    References
    ----------
    H. Theil 1950, P. K. Sen 1968; M. G. Kendall 1938, with ties 1945.

    Notes
    -----
    scipy gives the same, and the tests hold this to it; but its `stats` takes longer to load than two photos
    to grade, and a command that grades a pack needs nothing else of it.
    """
    n = len(positions)
    if len(set(positions)) != n:
        raise ValueError(f"each position once expected, got {list(positions)}")
    if n < 2:
        return Trend(None, None, None, n)
    plates = list(zip(positions, scores, strict=True))
    slopes = [(score - other) / (at - before) for (before, other), (at, score) in combinations(plates, 2)]
    slope = float(statistics.median(slopes)) + 0.0  # no negative zero
    if len(set(scores)) == 1:
        return Trend(slope, None, None, n)
    up, down = _up_and_down(positions, scores)
    tau = round((up - down) / math.sqrt((up + down) * math.comb(n, 2)), 12)  # 1 - 1e-16 is 1
    p = exact_p(positions, scores) if n >= FEWEST_FOR_P else None
    return Trend(slope, tau, p, n)


def exact_p(positions: Sequence[int], scores: Sequence[float]) -> float:
    """Two-sided p of Kendall's S: the share of all orders of these scores that are at least as one-sided.

    Ties are kept as they are. scipy has the exact distribution without ties only, and its approximation
    can be smaller than the exact p.

    Notes
    -----
    Over all distinct orders of a multiset the number of inversions is spread as the coefficients of the
    q-multinomial (P. A. MacMahon; from memory), so that no order need be listed.
    """
    up, down = _up_and_down(positions, scores)
    counts = _inversions(sorted(Counter(scores).values()))
    extreme = sum(count for k, count in enumerate(counts) if abs(up + down - 2 * k) >= abs(up - down))
    return extreme / sum(counts)


def _up_and_down(positions: Sequence[int], scores: Sequence[float]) -> tuple[int, int]:
    """How many pairs of plates have the higher score at the higher position, and how many at the lower."""
    pairs = list(combinations([score for _, score in sorted(zip(positions, scores, strict=True))], 2))
    return sum(a < b for a, b in pairs), sum(a > b for a, b in pairs)


def _inversions(group_sizes: Sequence[int]) -> list[int]:
    """Number of distinct orders with 0, 1, 2 .. inversions, of a multiset with groups of these sizes."""
    counts, placed = [1], 0
    for size in group_sizes:
        for i in range(1, size + 1):  # times the Gaussian binomial (placed + size choose size)
            counts = _divided(_times(counts, placed + i), i)
        placed += size
    if sum(counts) * math.prod(map(math.factorial, group_sizes)) != math.factorial(placed):
        raise ArithmeticError(f"orders of {list(group_sizes)} were miscounted")
    return counts


def _times(counts: list[int], i: int) -> list[int]:
    """The polynomial times (1 - q^i)."""
    padded = counts + [0] * i
    return [value - (padded[k - i] if k >= i else 0) for k, value in enumerate(padded)]


def _divided(counts: list[int], i: int) -> list[int]:
    """The polynomial divided by (1 - q^i), which it is known to hold."""
    out = list(counts)
    for k in range(i, len(out)):
        out[k] += out[k - i]
    return out[: len(out) - i]
