"""How the program's levels and the technician's own heat levels agree: table, kappa, interval, drift."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.agreement.kappa import kappa_values, quadratic_weights
from wearview.agreement.sums import (
    ALL,
    LEVELS,
    TECHNICIAN_IN_QUARTER,
    Rated,
    Sums,
    decisions_of,
    interval,
    sums_of,
    table_of,
)
from wearview.record import LEAST_PACKS

# About 2 k^2 pairs for k levels. D. V. Cicchetti (1981), Applied Psychological Measurement 5(1), 101-104.
LEAST_PAIRS = 2 * LEVELS**2
SCHEME = "quadratic weights, levels 0 to 4; 95 % interval over whole packs, as if they were drawn again"
TOO_FEW, TOO_LITTLE_VARIETY, FEW_PACKS = "too few pairs", "too little variety", "few packs"
NOTES = {
    TOO_FEW: f"No kappa is given under {LEAST_PAIRS} parts with both levels.",
    TOO_LITTLE_VARIETY: "Too little variety: with one and the same level throughout, kappa is not defined.",
    FEW_PACKS: f"Under {LEAST_PACKS} packs the interval comes out too narrow.",
}
_OFF = np.abs(np.subtract.outer(np.arange(LEVELS), np.arange(LEVELS)))


@dataclass(frozen=True, slots=True, eq=False)
class Agreement:
    """Agreement over some parts.

    Attributes
    ----------
    n, packs : int
        Pairs of levels, and the packs they come from.
    counts : ndarray of int, shape (5, 5)
        Rows by the program's level, columns by the technician's.
    kappa : float or None
        Quadratic weighted kappa; None where `notes` say why.
    interval : tuple of float, or None
        95 %, whole packs resampled.
    exact, within_one : float or None
        Shares of the pairs.
    notes : tuple of str
        Keys of `NOTES`.
    """

    n: int
    packs: int
    counts: NDArray[np.int64]
    kappa: float | None
    interval: tuple[float, float] | None
    exact: float | None
    within_one: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Counted:
    """What a whole record comes to, and the parts to look at together.

    Attributes
    ----------
    sums : Sums
        See `sums_of`.
    apart : tuple of Rated
        Parts whose two levels differ, the farthest apart first, newest first among equals.
    """

    sums: Sums
    apart: tuple[Rated, ...] = ()

    @property
    def whole(self) -> Agreement:
        """Over all parts."""
        return _agreement(self.sums.get((ALL, ALL)))

    def by(self, grouping: str) -> dict[str, Agreement]:
        """Within each group, in order of their names; parts without a group are left out."""
        return {
            name: _agreement(self.sums[grouping, name])
            for grouped, name in sorted(self.sums)
            if grouped == grouping
        }

    def by_quarter_of(self, technician: str) -> dict[str, Agreement]:
        """One technician's, by the quarter of the year."""
        return {
            name[: -len(technician) - 1]: found
            for name, found in self.by(TECHNICIAN_IN_QUARTER).items()
            if name.partition(" ")[2] == technician
        }

    @property
    def decisions(self) -> dict[str, tuple[int, ...]]:
        """For each decision, how many parts of level 0..4, and last of "cannot tell", got it."""
        return decisions_of(self.sums)

    @property
    def judged(self) -> int:
        """Parts with a grade, or "cannot tell", and a verdict."""
        return sum(map(sum, self.decisions.values()))


def agree(parts: Sequence[Rated]) -> Agreement:
    """Agreement between the program's levels and the technician's own.

    Parameters
    ----------
    parts : sequence of Rated
        Those without both levels are left out.

    Notes
    -----
    Decisions never enter: who replaces a clean plate because the customer wants it fresh does not disagree.
    """
    return Counted(sums_of(parts)).whole


def _agreement(row: tuple[int, ...] | None) -> Agreement:
    if row is None:
        return Agreement(0, 0, np.zeros((LEVELS, LEVELS), np.int64), None, None, None, None, (TOO_FEW,))
    packs, counts = row[0], table_of(row)
    n = int(counts.sum())
    exact, within_one = float(counts[_OFF == 0].sum() / n), float(counts[_OFF <= 1].sum() / n)
    if n < LEAST_PAIRS:
        return Agreement(n, packs, counts, None, None, exact, within_one, (TOO_FEW,))
    value = float(kappa_values(counts, quadratic_weights(LEVELS)))
    if np.isnan(value):
        return Agreement(n, packs, counts, None, None, exact, within_one, (TOO_LITTLE_VARIETY,))
    notes = (FEW_PACKS,) if packs < LEAST_PACKS else ()
    return Agreement(n, packs, counts, value, interval(row), exact, within_one, notes)
