"""`wearview teardown`, `verdict` and `report`: the commands that work on the record."""

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from wearview import store as record
from wearview.cli.outputs import write_text
from wearview.cli.tables import element_text, printable, table, verdict_text
from wearview.cli.where import open_record
from wearview.record import Teardown, part_lines


def new(args: argparse.Namespace) -> int:
    """Open a teardown."""
    store = open_record(args)
    record.new_teardown(
        store, args.name, unit=args.unit, serial=args.serial, customer_ref=args.customer, wish=args.wish
    )
    print(f"teardown {printable(args.name.strip())} opened")
    return 0


def list_all(args: argparse.Namespace) -> int:
    """List the teardowns, newest first."""
    teardowns = record.list_teardowns(open_record(args))
    if args.json:
        write_text(args.json, _json([asdict(line) for line in teardowns]))
    if args.json == "-":
        return 0
    header = ["teardown", "unit", "serial", "customer", "opened (UTC)", "elements"]
    rows = [
        [t.name, t.unit or "", t.serial or "", t.customer or "", _minute(t.opened_at), str(t.elements)]
        for t in teardowns
    ]
    print(table(header, rows, right=(5,)) or "no teardown so far; begin one with: wearview teardown new NAME")
    return 0


def show(args: argparse.Namespace) -> int:
    """Show a teardown with its grades and verdicts."""
    teardown = record.get_teardown(open_record(args), args.name)
    if args.json:
        write_text(args.json, _json(_as_json(teardown)))
    if args.json != "-":
        print(teardown_text(teardown))
    return 0


def verdict(args: argparse.Namespace) -> int:
    """Store the technician's verdict."""
    given = record.add_verdict(
        open_record(args),
        args.teardown,
        args.element,
        args.target,
        args.decision,
        heat=args.heat,
        reason=args.reason,
        by=args.by,
        note=args.note,
    )
    where = f"{args.teardown}, {args.element}, {given[0].target}"
    print(f"stored: {printable(where)}: {verdict_text(given[0])}")
    return 0


def report(args: argparse.Namespace) -> int:
    """Write the customer's report."""
    # These decode photos, which the other commands do not.
    from wearview.report import load_shop, shop_folder, write_report

    store = open_record(args)
    teardown = record.get_teardown(store, args.teardown)
    written = write_report(
        teardown,
        lambda sha256: record.photo_bytes(store, sha256),
        Path(args.out),
        shop=load_shop(Path(args.shop) if args.shop else shop_folder()),
        originals=args.originals,
        progress=lambda line: print(line, file=sys.stderr, flush=True),
    )
    for path in written:
        print(printable(str(path)))
    return 0


def teardown_text(teardown: Teardown) -> str:
    """The job, then each of its elements."""
    facts = {
        "unit": teardown.unit,
        "serial": teardown.serial,
        "customer": teardown.customer,
        "wish": teardown.wish,
        "opened (UTC)": _minute(teardown.opened_at),
    }
    head = [
        printable(teardown.name),
        *(f"{name}: {printable(value)}" for name, value in facts.items() if value),
    ]
    elements = [element_text(element, part_lines(element)) for element in teardown.elements]
    return "\n\n".join(["\n".join(head), *(elements or ["nothing graded or judged so far"])])


def _as_json(teardown: Teardown) -> dict[str, Any]:
    """The whole record of a teardown: every grading and every verdict, oldest first."""
    return {
        "name": teardown.name,
        "unit": teardown.unit,
        "serial": teardown.serial,
        "customer": teardown.customer,
        "wish": teardown.wish,
        "opened_at": teardown.opened_at,
        "elements": [
            {
                "name": element.name,
                "expectation": element.expectation,
                "gradings": [
                    {"graded_at": g.graded_at, "document_sha256": g.document_sha256, "document": g.document}
                    for g in element.gradings
                ],
                "verdicts": [asdict(v) for v in element.verdicts],
            }
            for element in teardown.elements
        ],
    }


def _json(value: Any) -> str:
    return json.dumps(value, allow_nan=False, indent=1) + "\n"


def _minute(moment: str) -> str:
    return moment[:16].replace("T", " ")
