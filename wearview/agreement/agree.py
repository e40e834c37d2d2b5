"""How the program's levels and the technician's own heat levels agree: table, kappa, interval, drift."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.agreement.kappa import kappa_values, quadratic_weights
from wearview.terms import VERDICTS

LEVELS = 5
# About 2 k^2 pairs for k levels. D. V. Cicchetti (1981), Applied Psychological Measurement 5(1), 101-104.
LEAST_PAIRS = 2 * LEVELS**2
# With fewer clusters the resampled intervals come out too narrow: simulation study in BMC Health Services
# Research 4:33 (2004).
LEAST_PACKS = 24
RESAMPLES = 2000
SCHEME = "quadratic weights, levels 0 to 4; 95 % interval by resampling whole packs"
TOO_FEW, TOO_LITTLE_VARIETY, FEW_PACKS = "too few pairs", "too little variety", "few packs"
NOTES = {
    TOO_FEW: f"No kappa is given under {LEAST_PAIRS} parts with both levels.",
    TOO_LITTLE_VARIETY: "Too little variety: with one and the same level throughout, kappa is not defined.",
    FEW_PACKS: f"Under {LEAST_PACKS} packs the interval comes out too narrow.",
}

_SEED = 20_141


@dataclass(frozen=True, slots=True)
class Rated:
    """A part with the program's level and the technician's verdict that holds.

    Attributes
    ----------
    part_id, position : str
        The part, and its position as typed: "3", "3a".
    pack : str
        The pack it came from: parts of one pack are not independent.
    level : int or None
        The program's level; None is "cannot tell".
    heat : int or None
        The technician's own heat level.
    decision : str
        One of `terms.VERDICTS`.
    by : str or None
    given_at : str
        ISO 8601 in UTC.
    blind : bool or None
        Whether the grade was hidden when the verdict was given; None where that was not noted.
    teardown, element : str
        Where the pack stands in the record.
    """

    part_id: str
    position: str
    pack: str
    level: int | None
    heat: int | None
    decision: str
    by: str | None
    given_at: str
    blind: bool | None = None
    teardown: str = ""
    element: str = ""

    @property
    def pair(self) -> tuple[int, int] | None:
        """The program's level and the technician's; None unless both gave one."""
        return None if self.level is None or self.heat is None else (self.level, self.heat)


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


def agree(parts: Sequence[Rated]) -> Agreement:
    """Agreement between the program's levels and the technician's own.

    Parameters
    ----------
    parts : sequence of Rated
        Those without both levels are left out.

    Notes
    -----
    Decisions never enter: who replaces a clean plate because the customer wants it fresh does not disagree.

    References
    ----------
    C. A. Field and A. H. Welsh (2007), Bootstrapping clustered data, J. Roy. Stat. Soc. B 69(3), 369-390.
    """
    by_pack = _counts_by_pack(parts)
    counts = by_pack.sum(axis=0)
    n, packs = int(counts.sum()), len(by_pack)
    if n == 0:
        return Agreement(0, 0, counts, None, None, None, None, (TOO_FEW,))
    off = np.abs(np.subtract.outer(np.arange(LEVELS), np.arange(LEVELS)))
    exact, within_one = float(counts[off == 0].sum() / n), float(counts[off <= 1].sum() / n)
    if n < LEAST_PAIRS:
        return Agreement(n, packs, counts, None, None, exact, within_one, (TOO_FEW,))
    value = float(kappa_values(counts, quadratic_weights(LEVELS)))
    if np.isnan(value):
        return Agreement(n, packs, counts, None, None, exact, within_one, (TOO_LITTLE_VARIETY,))
    notes = (FEW_PACKS,) if packs < LEAST_PACKS else ()
    return Agreement(n, packs, counts, value, _interval(by_pack), exact, within_one, notes)


def agree_by(parts: Sequence[Rated], group: Callable[[Rated], str | None]) -> dict[str, Agreement]:
    """Agreement within each group, groups in order of their names; parts without a group are left out."""
    groups: dict[str, list[Rated]] = {}
    for part in parts:
        if (name := group(part)) is not None:
            groups.setdefault(name, []).append(part)
    return {name: agree(groups[name]) for name in sorted(groups)}


def by_technician(part: Rated) -> str | None:
    """Who gave the verdict."""
    return part.by


def by_quarter(part: Rated) -> str:
    """The quarter of the year in which the verdict was given, as "2024-Q3"."""
    return f"{part.given_at[:4]}-Q{(int(part.given_at[5:7]) + 2) // 3}"


def by_sight(part: Rated) -> str:
    """Whether the verdict was given with the grade in sight, which pulls a person's level towards it."""
    return {True: "blind", False: "grade in sight", None: "not noted"}[part.blind]


def decisions(parts: Sequence[Rated]) -> dict[str, tuple[int, ...]]:
    """For each decision, how many parts of level 0..4, and last of "cannot tell", got it."""
    counted = Counter((part.decision, LEVELS if part.level is None else part.level) for part in parts)
    return {decision: tuple(counted[decision, row] for row in range(LEVELS + 1)) for decision in VERDICTS}


def most_apart(parts: Sequence[Rated], limit: int = 12) -> list[Rated]:
    """Parts whose two levels differ, the farthest apart first, newest first among equals."""
    apart = [(_distance(part), part) for part in parts if _distance(part) > 0]
    apart.sort(key=lambda found: found[1].given_at, reverse=True)
    apart.sort(key=lambda found: found[0], reverse=True)
    return [part for _, part in apart[:limit]]


def _distance(part: Rated) -> int:
    return 0 if part.pair is None else abs(part.pair[0] - part.pair[1])


def _counts_by_pack(parts: Sequence[Rated]) -> NDArray[np.int64]:
    """A 5 x 5 table for each pack that has pairs, shape (packs, 5, 5)."""
    tables: dict[str, NDArray[np.int64]] = {}
    for part in parts:
        if part.pair is not None:
            tables.setdefault(part.pack, np.zeros((LEVELS, LEVELS), np.int64))[part.pair] += 1
    return np.array(list(tables.values()), np.int64).reshape(-1, LEVELS, LEVELS)


def _interval(by_pack: NDArray[np.int64]) -> tuple[float, float]:
    packs = len(by_pack)
    draw = np.random.default_rng(_SEED).multinomial(packs, np.full(packs, 1 / packs), size=RESAMPLES)
    tables = (draw @ by_pack.reshape(packs, -1)).reshape(RESAMPLES, LEVELS, LEVELS)
    values = kappa_values(tables, quadratic_weights(LEVELS))
    low, high = np.nanquantile(values, [0.025, 0.975])
    return float(low), float(high)
