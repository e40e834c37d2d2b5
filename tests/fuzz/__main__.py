"""Fuzz what reads files of others: ``python -m tests.fuzz --times 50000``. 1 when anything went wrong."""

import argparse
import sys
import time

from tests.fuzz.targets import TARGETS
from tests.fuzz.watching import fuzz

# What one input takes differs a hundredfold; so do the numbers of inputs out of all.
SHARES = {"photo": 0.6, "texts": 0.2, "url": 0.1, "restore": 0.08, "mat": 0.02}


def main() -> int:
    """Try every target and print what became of its inputs."""
    parser = argparse.ArgumentParser("python -m tests.fuzz", description=__doc__)
    parser.add_argument("what", nargs="*", choices=(*TARGETS, []), help="default: all")
    parser.add_argument("--times", type=int, default=50_000, help="inputs over all targets")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--first", type=int, default=0, help="number of the first input, to see a fault again"
    )
    parser.add_argument("--minutes", type=float, default=float("inf"), help="for each target, at most")
    args = parser.parse_args()
    names = args.what or list(TARGETS)
    total, faults = 0, 0
    for name in names:
        times = round(args.times * SHARES[name] / sum(SHARES[n] for n in names))
        found = fuzz(name, times, args.seed, args.first, time.monotonic() + 60 * args.minutes)
        print(
            f"{name:8} {found.run:6} of {times} inputs, {found.refused} refused in words, slowest "
            f"{found.slowest_s:.2f} s, peak {found.peak_mb:.0f} MB, {len(found.faults)} faults",
            flush=True,
        )
        for fault in found.faults:
            print(f"  {fault}", flush=True)
        total, faults = total + found.run, faults + len(found.faults)
    print(f"{total} inputs, {faults} faults")
    return bool(faults)


if __name__ == "__main__":
    sys.exit(main())
