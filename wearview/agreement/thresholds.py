"""New thresholds proposed from a shop's own heat levels; only a person makes them rules."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.agreement.agree import LEAST_PACKS, LEAST_PAIRS

ROWS = 4
# Shares tried as thresholds. Under 0.02 a speck would hold a row; over 0.9 hardly a face could.
STEP = 0.01
CANDIDATES = np.round(np.arange(0.02, 0.905, STEP), 2)
FOLDS = 5
REFITS = 300
_SEED = 20_142


@dataclass(frozen=True, slots=True, eq=False)
class Eye:
    """What was measured on parts of one family and the heat level that a person saw.

    Attributes
    ----------
    values : ndarray, shape (N, 4), float64
        Share of the face for each row of the rules.
    held : ndarray of bool, shape (N, 4)
        Rows that hold by another way than the share (hot spots).
    raised : ndarray of bool, shape (N,)
        Faces that glaze raises by one level.
    highest_raised : int
        Highest level that glaze raises.
    heat : ndarray of int, shape (N,)
        The person's level, 0..4.
    pack : ndarray of int, shape (N,)
        Pack of each part.
    """

    values: NDArray[np.float64]
    held: NDArray[np.bool_]
    raised: NDArray[np.bool_]
    highest_raised: int
    heat: NDArray[np.int64]
    pack: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Threshold:
    """One row's threshold: as it is, as the shop's eye has it, and the 95 % interval of that."""

    current: float
    proposed: float
    low: float
    high: float

    @property
    def differs(self) -> bool:
        """Whether the interval leaves the present threshold out."""
        return not self.low <= self.current <= self.high


@dataclass(frozen=True, slots=True)
class Proposal:
    """Thresholds that fit the shop's eye better.

    Attributes
    ----------
    rows : tuple of Threshold
        For levels 1 to 4; a row whose interval holds the present threshold keeps it.
    error_before, error_after : float
        Mean squared difference of the levels, on packs that the fit had not seen.
    gain : tuple of float
        95 % interval of the first minus the second.
    n, packs : int
    """

    rows: tuple[Threshold, ...]
    error_before: float
    error_after: float
    gain: tuple[float, float]
    n: int
    packs: int


def levels(eye: Eye, thresholds: NDArray[np.float64]) -> NDArray[np.int64]:
    """Level of each part: the highest row that holds, raised by one for glaze."""
    holds = (eye.values >= thresholds) | eye.held
    level = np.where(holds, np.arange(1, ROWS + 1), 0).max(axis=1)
    return np.asarray(level + (eye.raised & (level <= eye.highest_raised)))


def propose(eye: Eye, current: tuple[float, ...]) -> Proposal | None:
    """Thresholds that fit a shop's eye better than the present ones.

    Parameters
    ----------
    eye : Eye
    current : tuple of float
        Present thresholds of levels 1 to 4.

    Returns
    -------
    Proposal or None
        None with fewer than 50 parts or 24 packs; when no row's interval leaves its present threshold
        out; or when nothing is gained on packs that were kept out of the fit.

    Notes
    -----
    The least squared difference of levels is what quadratic weighted kappa rewards. Whole packs are resampled
    and kept out, since plates of one pack are not independent.

    On simulated shops (`tests.accuracy.shop_eye`: 60 packs of six, one level off for one part in ten) a
    shifted row was within its interval in 89 to 99 of 100 runs, and a shop that agrees got no proposal in 100
    of 100. Asking for a sure gain as well was tried: shifted rows came back less often.
    """
    packs = int(eye.pack.max()) + 1 if len(eye.pack) else 0
    if len(eye.heat) < LEAST_PAIRS or packs < LEAST_PACKS:
        return None
    now = np.asarray(current, dtype=float)
    rng = np.random.default_rng(_SEED)
    fitted = _fit(eye, now, np.ones(packs))
    refits = np.array(
        [
            _fit(eye, now, weight)
            for weight in rng.multinomial(packs, np.full(packs, 1 / packs), size=REFITS).astype(float)
        ]
    )
    low, high = np.quantile(refits, [0.025, 0.975], axis=0)
    low, high = low - STEP, high + STEP  # no finer than what was tried
    rows = tuple(Threshold(*map(float, row)) for row in zip(now, fitted, low, high, strict=True))
    if not any(row.differs for row in rows):
        return None
    rows = tuple(r if r.differs else Threshold(r.current, r.current, r.low, r.high) for r in rows)
    differs = np.array([row.differs for row in rows])
    before, after = _errors_kept_out(eye, now, differs, rng.permutation(packs))
    if before.mean() <= after.mean():
        return None
    gain = _gain_interval(eye, before - after, packs)
    return Proposal(rows, float(before.mean()), float(after.mean()), gain, len(eye.heat), packs)


def _fit(
    eye: Eye,
    start: NDArray[np.float64],
    pack_weight: NDArray[np.float64],
    free: NDArray[np.bool_] | None = None,
) -> NDArray[np.float64]:
    """Thresholds of least weighted squared difference, one row at a time until none moves."""
    weight = pack_weight[eye.pack]
    at = start.copy()
    for _ in range(6):
        before = at.copy()
        for row in range(ROWS):
            if free is None or free[row]:
                at[row] = _best(eye, at, row, weight)
        if np.array_equal(before, at):
            break
    return at


def _best(eye: Eye, at: NDArray[np.float64], row: int, weight: NDArray[np.float64]) -> float:
    """The middle of the candidates that fit a row best, or the present one where none is better."""
    lower, upper = at.copy(), at.copy()
    lower[row], upper[row] = -np.inf, np.inf
    if_held = weight * (levels(eye, lower) - eye.heat) ** 2
    if_not = weight * (levels(eye, upper) - eye.heat) ** 2
    # A part holds the row under every candidate up to its own value.
    reached = np.searchsorted(CANDIDATES, eye.values[:, row], side="right")
    added = np.bincount(reached, weights=if_held - if_not, minlength=len(CANDIDATES) + 1)
    cost = added[::-1].cumsum()[::-1][1:]  # of candidate i: parts that reach beyond it hold
    least = float(cost.min()) + 1e-9
    if float((if_held - if_not)[eye.values[:, row] >= at[row]].sum()) <= least:
        return float(at[row])
    return float(np.median(CANDIDATES[cost <= least]))


def _folds(order: NDArray[np.int64]) -> Iterator[NDArray[np.int64]]:
    yield from np.array_split(order, FOLDS)


def _errors_kept_out(
    eye: Eye, now: NDArray[np.float64], free: NDArray[np.bool_], order: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Squared difference of each part's levels under the present thresholds, and under those fitted without
    its pack."""
    before = ((levels(eye, now) - eye.heat) ** 2).astype(np.float64)
    after = np.empty_like(before)
    for fold in _folds(order):
        weight = np.ones(len(order))
        weight[fold] = 0
        out = np.isin(eye.pack, fold)
        after[out] = ((levels(eye, _fit(eye, now, weight, free)) - eye.heat) ** 2)[out]
    return before, after


def _gain_interval(eye: Eye, gained: NDArray[np.float64], packs: int) -> tuple[float, float]:
    sums = np.bincount(eye.pack, weights=gained, minlength=packs)
    sizes = np.bincount(eye.pack, minlength=packs)
    draw = np.random.default_rng(_SEED).multinomial(packs, np.full(packs, 1 / packs), size=2000)
    low, high = np.quantile((draw @ sums) / (draw @ sizes), [0.025, 0.975])
    return float(low), float(high)
