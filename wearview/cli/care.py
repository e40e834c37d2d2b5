"""`wearview backup`, `restore` and `check`: keeping the record whole."""

import argparse
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from wearview import store as record
from wearview.cli.outputs import write_json
from wearview.cli.tables import printable
from wearview.cli.where import open_record, url_of_record
from wearview.terms import how_many

NOT_WHOLE = 1


def backup(args: argparse.Namespace) -> int:
    """Write a backup; 1 when something that belongs to the record is missing from it."""
    store = open_record(args)
    manifest = record.write_backup(store, Path(args.file))
    print(f"{printable(args.file)}: {_counted(manifest)}, read back")
    lacking = record.check_record(store).findings
    _tell(lacking)
    return NOT_WHOLE if lacking else 0


def restore(args: argparse.Namespace) -> int:
    """Make the record again and look it through; 1 when the backup was made of a damaged record."""
    store = record.restore(url_of_record(args), Path(args.file))
    checked = record.check_record(store)
    print(f"{printable(store.label)}: {_looked_at(checked)}, compared with their seals")
    _tell(checked.findings)
    return NOT_WHOLE if checked.findings else 0


def check(args: argparse.Namespace) -> int:
    """Look through the record; 1 when something is missing or was altered."""
    checked = record.check_record(open_record(args))
    if args.json:
        write_json(args.json, asdict(checked))
    if args.json != "-":
        print(f"{_looked_at(checked)} looked at")
        if checked.unnamed:
            print(f"in the photo folder, belonging to no grading: {how_many(checked.unnamed, 'more file')}")
        if checked.unfinished:
            print(f"{how_many(checked.unfinished, 'half-written file')} of a stopped program removed")
        print(f"{len(checked.findings)} missing or altered" if checked.findings else "all as it was stored")
    _tell(checked.findings)
    return NOT_WHOLE if checked.findings else 0


def _tell(findings: tuple[record.Finding, ...]) -> None:
    for found in findings:
        print(f"wearview: {printable(found.where)}: {printable(found.problem)}.", file=sys.stderr)


def _counted(manifest: dict[str, Any]) -> str:
    rows = [how_many(manifest["tables"][name]["rows"], name) for name in ("teardown", "grading", "verdict")]
    return ", ".join([*rows, how_many(len(manifest["files"]), "file")])


def _looked_at(checked: record.Checked) -> str:
    return f"{how_many(checked.rows, 'row')} and {how_many(checked.files, 'file')}"
