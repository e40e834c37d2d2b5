"""Figures of what the record stands, on SQLite and on a PostgreSQL server started for it: long."""

import argparse
import os
import sys
import tempfile
from pathlib import Path

from tests.databases import two_of_each
from tests.endurance.filling import fill_while_storing, small_disk
from tests.endurance.growing import fill, slower, timed
from tests.endurance.killing import kill_while_storing
from tests.endurance.sharing import store_at_once
from wearview import store as record

FEW = 20  # teardowns that the large record is compared with


def main() -> int:
    """Run what was asked and print it; 1 when a fault was found."""
    parser = argparse.ArgumentParser("python -m tests.endurance", description=__doc__)
    parser.add_argument("what", choices=("kill", "disk", "share", "grow"))
    parser.add_argument("--times", type=int, default=200, help="how often a process is killed, a disk filled")
    parser.add_argument("--writers", type=int, default=4)
    parser.add_argument("--each", type=int, default=25, help="packs that each writer stores")
    parser.add_argument("--teardowns", type=int, default=2000, help="of the large record, 30 parts each")
    args = parser.parse_args()
    faults = 0
    with tempfile.TemporaryDirectory(prefix="wearview-endurance-") as folder:
        if args.what == "disk":
            with small_disk(Path(folder) / "disk") as disk:
                filled = fill_while_storing(disk, args.times)
            print(f"disk full {filled.times} times, storing refused {filled.refused}: {_told(filled.faults)}")
            return bool(filled.faults)
        os.environ["XDG_DATA_HOME"] = folder
        for name, few, many in two_of_each(Path(folder)):
            if args.what == "kill":
                killed = kill_while_storing(many, args.times)
                print(
                    f"{name}: killed {killed.times} times, {killed.stored} packs whole, "
                    f"{killed.unfinished} files without a row: {_told(killed.faults)}"
                )
                faults += len(killed.faults)
            elif args.what == "share":
                found = store_at_once(many, args.writers, args.each)
                print(f"{name}: {args.writers} writers, {args.each} packs each: {_told(found)}")
                faults += len(found)
            else:
                _print_growth(name, few, many, args.teardowns)
    return bool(faults)


def _print_growth(name: str, few: str, many: str, teardowns: int) -> None:
    parts = [fill(record.open_store(url), count) for url, count in ((few, FEW), (many, teardowns))]
    print(f"{name}: {FEW} teardowns with {parts[0]} parts, {teardowns} with {parts[1]}")
    small, large = timed(few, FEW), timed(many, teardowns)
    for what, ratio in slower(small, large).items():
        print(f"  {what:32} {small[what] * 1e3:7.1f} ms {large[what] * 1e3:7.1f} ms  {ratio:4.1f} times")


def _told(faults: list[str]) -> str:
    return "; ".join(faults[:5]) or "no fault"


if __name__ == "__main__":
    sys.exit(main())
