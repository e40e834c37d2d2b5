"""`wearview checklist`, `finding`, `measured`: what was looked at and measured beside the packs."""

import argparse
from collections.abc import Iterator, Sized
from dataclasses import asdict
from pathlib import Path
from typing import Any

from wearview import store as record
from wearview.cli.outputs import write_json
from wearview.cli.tables import printable, table
from wearview.cli.where import open_record
from wearview.errors import CallError
from wearview.record import (
    EXAMPLE_CHECKLIST,
    Measured,
    Teardown,
    check_lines,
    counted,
    measured_json,
)

ANY_UNIT = "any other unit"
NO_CHECKLIST = "the shop has no checklist so far; settle one with: wearview checklist set"


def set_checklist(args: argparse.Namespace) -> int:
    """Settle the items of a checklist."""
    ways = bool(args.items) + args.example + args.none
    if ways != 1:
        raise CallError("checklist set", "needs its items", "Name them, or give --example or --none")
    items = EXAMPLE_CHECKLIST if args.example else args.items
    names = record.set_checklist(open_record(args), items, args.unit)
    if args.json:
        write_json(args.json, list(names))
    if args.json != "-":
        print("\n".join([f"checklist for {printable(args.unit or ANY_UNIT)}:", *_numbered(names)]))
    return 0


def show_checklists(args: argparse.Namespace) -> int:
    """Show the checklists that hold."""
    lists = record.checklists(open_record(args))
    if args.json:
        write_json(args.json, {unit: list(items) for unit, items in lists.items()})
    if args.json != "-":
        told = ["\n".join([printable(unit or ANY_UNIT), *_numbered(items)]) for unit, items in lists.items()]
        print("\n\n".join(told) or NO_CHECKLIST)
    return 0


def example(args: argparse.Namespace) -> int:
    """List the example."""
    if args.json:
        write_json(args.json, list(EXAMPLE_CHECKLIST))
    if args.json != "-":
        print("\n".join(_numbered(EXAMPLE_CHECKLIST)))
        print("\nCommon practice, no source: every unit has its own, so name what you look at.")
    return 0


def add_finding(args: argparse.Namespace) -> int:
    """Store what was found at an item, with photos."""
    given = record.add_inspection(
        open_record(args),
        args.teardown,
        args.item,
        args.outcome,
        by=args.by,
        note=args.note,
        photos=_photos(args.photo),
    )
    if args.json:
        write_json(args.json, asdict(given))
    if args.json != "-":
        where = f"{args.teardown}, {given.item}"
        print(f"stored: {printable(where)}: {given.outcome}{_pictured(given.photos)}")
    return 0


def list_findings(args: argparse.Namespace) -> int:
    """Show the checklist and what was found."""
    teardown = record.get_teardown(open_record(args), args.teardown)
    if args.json:
        write_json(args.json, findings_json(teardown))
    if args.json != "-":
        print(findings_text(teardown) or NO_CHECKLIST)
    return 0


def take_back_finding(args: argparse.Namespace) -> int:
    """Take back what was said of an item."""
    record.take_back_inspection(open_record(args), args.teardown, args.item)
    print(f"taken back: {printable(args.item)}; the record keeps what was said")
    return 0


def add_measured(args: argparse.Namespace) -> int:
    """Store a measured value."""
    given = record.add_measured(
        open_record(args),
        args.teardown,
        args.what,
        args.value,
        args.unit,
        args.tool,
        least=args.least,
        most=args.most,
        limit_from=args.limit_from,
        by=args.by,
        note=args.note,
        photos=_photos(args.photo),
    )
    if args.json:
        write_json(args.json, measured_json(given))
    if args.json != "-":
        outcome = given.outcome or "no limit was typed"
        print(f"stored: {printable(given.what)}: {given.value.both}; {outcome}{_pictured(given.photos)}")
    return 0


def list_measured(args: argparse.Namespace) -> int:
    """List the measured values."""
    teardown = record.get_teardown(open_record(args), args.teardown)
    if args.json:
        write_json(args.json, [measured_json(one) for one in teardown.measured])
    if args.json != "-":
        print(measured_text(teardown) or "nothing was measured so far")
    return 0


def take_back_measured(args: argparse.Namespace) -> int:
    """Take a measured value back."""
    record.take_back_measured(open_record(args), args.teardown, args.what)
    print(f"taken back: {printable(args.what)}; the record keeps what was measured")
    return 0


def findings_text(teardown: Teardown) -> str:
    """The checklist with what was found, and what was found beside it; empty where there is neither."""
    lines = check_lines(teardown.checklist, teardown.inspections)
    if not lines:
        return ""
    rows = [
        [
            line.item,
            line.state,
            (line.said and line.said.note) or "",
            str(len(line.said.photos)) if line.said and line.said.photos else "",
            (line.said and line.said.by) or "",
        ]
        for line in lines
    ]
    title = "beside the packs" + (f" ({counted(lines)})" if teardown.checklist else "")
    return "\n".join([title, "-" * len(title), table(["item", "", "note", "photos", "by"], rows, right=(3,))])


def findings_json(teardown: Teardown) -> list[dict[str, Any]]:
    """Every item of the checklist, then what was found beside it."""
    return [
        {
            "item": line.item,
            "state": line.state,
            "on_checklist": line.listed,
            "said": None if line.said is None else asdict(line.said),
        }
        for line in check_lines(teardown.checklist, teardown.inspections)
    ]


def measured_text(teardown: Teardown) -> str:
    """The measured values, those out of limit marked; empty where there is none."""
    if not teardown.measured:
        return ""
    title = "measured"
    header = ["what", "value", "tool", "limit", "limit from", "outcome", "photos", "note"]
    rows = table(header, map(_measured_cells, teardown.measured), right=(6,))
    return "\n".join([title, "-" * len(title), rows])


def _measured_cells(one: Measured) -> list[str]:
    outcome = (one.outcome or "").upper() if one.out_of_limit else one.outcome or ""
    limit = one.limit_words or "none typed"
    photos = str(len(one.photos) or "")
    return [one.what, one.value.both, one.tool, limit, one.limit_from or "", outcome, photos, one.note or ""]


def _photos(files: list[str]) -> dict[str, bytes]:
    """The photos that were named, by their files' names."""
    from wearview.photo import read_photo_bytes  # a third of a second that nothing without a photo needs

    photos: dict[str, bytes] = {}
    for path in map(Path, files):
        try:
            data = path.read_bytes()
        except OSError as error:
            raise CallError(str(path), "cannot be read", "Name a photo that is there") from error
        read_photo_bytes(data, str(path))
        photos[path.name if path.name not in photos else str(path)] = data
    return photos


def _pictured(photos: Sized) -> str:
    return f", {len(photos)} photo{'s' if len(photos) > 1 else ''}" if photos else ""


def _numbered(items: tuple[str, ...]) -> Iterator[str]:
    yield from (f"{n:>3}  {printable(item)}" for n, item in enumerate(items, 1))
