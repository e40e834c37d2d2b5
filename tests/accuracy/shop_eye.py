"""Simulated shops whose technician sees by thresholds of his own: ``python -m tests.accuracy.shop_eye``.

Prints in how many of 100 shops a shifted row comes back within its stated interval, and how many shops that
agree already get no proposal.
"""

import argparse
import sys
from collections.abc import Sequence

import numpy as np

from wearview.agreement import Eye, levels, propose

CURRENT = (0.25, 0.25, 0.25, 0.25)
SHIFTED = ((0, 0.40), (1, 0.45), (2, 0.15), (3, 0.50))  # row, threshold
FIRST_SEED = 1000  # apart from those of the tests


def eye_of(
    thresholds: Sequence[float], packs: int = 60, plates: int = 6, slips: float = 0.1, seed: int = 0
) -> Eye:
    """A shop that sees by `thresholds` and slips by one level now and then.

    Heat rises through each pack, so that every row is near its threshold somewhere.
    """
    rng = np.random.default_rng(seed)
    n = packs * plates
    pack = np.repeat(np.arange(packs), plates)
    heat = np.repeat(rng.uniform(0, 1, packs), plates) * 3.2 + rng.normal(0, 0.35, n)
    values = np.clip(np.stack([heat - k * 0.6 for k in range(4)], axis=1) + rng.normal(0, 0.05, (n, 4)), 0, 1)
    values = np.minimum.accumulate(values, axis=1)
    raised = rng.uniform(size=n) < 0.1
    eye = Eye(values, np.zeros((n, 4), bool), raised, 2, np.zeros(n, np.int64), pack)
    slip = rng.choice([-1, 0, 1], p=[slips / 2, 1 - slips, slips / 2], size=n)
    seen = np.clip(levels(eye, np.array(thresholds)) + slip, 0, 4)
    return Eye(values, eye.held, raised, 2, seen, pack)


def is_recovered(row: int, true: float, seed: int) -> bool:
    """Whether a shop whose threshold of one row is `true` gets it back within the stated interval."""
    proposal = propose(eye_of([*CURRENT[:row], true, *CURRENT[row + 1 :]], seed=seed), CURRENT)
    return proposal is not None and proposal.rows[row].low <= true <= proposal.rows[row].high


def main(arguments: list[str] | None = None) -> int:
    """Print the two figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.shop_eye", description=__doc__)
    parser.add_argument("--runs", type=int, default=100, help="simulated shops of each kind")
    runs = parser.parse_args(arguments).runs
    seeds = range(FIRST_SEED, FIRST_SEED + runs)
    for row, true in SHIFTED:
        found = sum(is_recovered(row, true, seed) for seed in seeds)
        print(
            f"level {row + 1} seen from {true:.2f}: recovered in {found} of {runs}  (asked: 85 of 100)",
            flush=True,
        )
    none = sum(propose(eye_of(CURRENT, seed=seed), CURRENT) is None for seed in seeds)
    print(f"a shop that agrees: nothing proposed in {none} of {runs}  (asked: 95 of 100)")
    return 0


if __name__ == "__main__":
    sys.exit(main())
