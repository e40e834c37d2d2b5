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
    print(
        f"{printable(store.label)}: {checked.rows} rows and {checked.files} files, compared with their seals"
    )
    _tell(checked.findings)
    return NOT_WHOLE if checked.findings else 0


def check(args: argparse.Namespace) -> int:
    """Look through the record; 1 when something is missing or was altered."""
    checked = record.check_record(open_record(args))
    if args.json:
        write_json(args.json, asdict(checked))
    if args.json != "-":
        print(f"{checked.rows} rows and {checked.files} files looked at")
        if checked.unnamed:
            print(f"{checked.unnamed} more files in the photo folder belong to no grading")
        if checked.unfinished:
            print(f"{checked.unfinished} half-written files of a stopped program removed")
        print(f"{len(checked.findings)} missing or altered" if checked.findings else "all as it was stored")
    _tell(checked.findings)
    return NOT_WHOLE if checked.findings else 0


def _tell(findings: tuple[record.Finding, ...]) -> None:
    for found in findings:
        print(f"wearview: {printable(found.where)}: {printable(found.problem)}.", file=sys.stderr)


def _counted(manifest: dict[str, Any]) -> str:
    tables = manifest["tables"]
    return (
        f"{tables['teardown']['rows']} teardowns, {tables['grading']['rows']} gradings, "
        f"{tables['verdict']['rows']} verdicts, {len(manifest['files'])} files"
    )
