"""Agreement over a large record beside a small one: ``python -m tests.benchmarks.agreement``.

Of each record all figures as `wearview agreement` shows them, and the page's two drawings. Printed beside
them: the same figures with every part read, and what giving one verdict costs.
"""

import argparse
import os
import sys
import tempfile
from pathlib import Path

from tests.databases import two_of_each
from tests.endurance.growing import ELEMENTS, PLATES, fastest, fill
from wearview import store as record
from wearview.agreement import Counted, sums_of
from wearview.cli.agreement import agreement_text
from wearview.ui.plots import kappa_drawing, levels_svg


def main(arguments: list[str] | None = None) -> int:
    """Fill two records on each kind of database, ask, print."""
    parser = argparse.ArgumentParser("python -m tests.benchmarks.agreement", description=__doc__)
    parser.add_argument(
        "--few", type=int, default=20, help="teardowns of 30 judged parts in the small record"
    )
    parser.add_argument("--many", type=int, default=2000, help="in the large one")
    args = parser.parse_args(arguments)
    print(f"load of this machine before: {os.getloadavg()[0]:.1f} (figures count only near 0)")
    parts = [count * ELEMENTS * PLATES for count in (args.few, args.many)]
    print(f"{'':42}{parts[0]:>9} {parts[1]:>9} parts")
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_DATA_HOME"] = folder
        for name, few, many in two_of_each(Path(folder)):
            fill(record.open_store(few), args.few)
            fill(record.open_store(many), args.many)
            for what, ask, asked in (
                ("figures, as the command shows them", _figures, "asked: at most 5 times"),
                ("figures and drawings, as the page", _page, ""),
                ("the same figures, every part read", _read_through, ""),
                ("one verdict given", _judge, ""),
            ):
                small, large = fastest(few, ask), fastest(many, ask)
                told = f"{small * 1e3:6.1f} ms {large * 1e3:6.1f} ms {large / small:6.1f} times   {asked}"
                print(f"{name:10}  {what:36}  {told}".rstrip(), flush=True)
    return 0


def _figures(store: record.Store) -> str:
    return agreement_text(record.counted(store))


def _page(store: record.Store) -> None:
    counted = record.counted(store)
    agreement_text(counted)
    kappa_drawing(counted)
    levels_svg(counted.whole)


def _read_through(store: record.Store) -> str:
    return agreement_text(Counted(sums_of(record.rated_parts(store))))


def _judge(store: record.Store) -> None:
    record.add_verdict(store, "job-1", "clutch 1", "1", "replace", heat=3, by="bench 1")


if __name__ == "__main__":
    sys.exit(main())
