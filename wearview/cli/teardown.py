"""`wearview teardown`: open, find, show and compare teardowns."""

import argparse
from dataclasses import asdict
from typing import Any

from wearview import store as record
from wearview.cli.beside import findings_json, findings_text, measured_text
from wearview.cli.outputs import write_json
from wearview.cli.tables import (
    element_text,
    grade_text,
    news_text,
    printable,
    table,
    verdict_cell,
    wrapped,
    yes_or_no,
)
from wearview.cli.where import open_record
from wearview.record import (
    Comparison,
    PartLine,
    Teardown,
    TeardownLine,
    compare,
    measured_json,
    mileage_json,
    part_lines,
    unexpected_heat,
)
from wearview.report.words import comparison_words, fate_words

NOTHING_SO_FAR = "no teardown so far; begin one with: wearview teardown new NAME"
ERASED = "erased"


def new(args: argparse.Namespace) -> int:
    """Open a teardown."""
    store = open_record(args)
    if args.like is not None:
        record.get_teardown(store, args.like)  # known before anything is added
    record.new_teardown(store, args.name, **_facts(args))
    print(f"teardown {printable(args.name.strip())} opened")
    if args.like is not None:
        names = record.copy_elements(store, args.name.strip(), args.like)
        print(f"with {printable(', '.join(names)) or 'no element'}")
    return 0


def list_all(args: argparse.Namespace) -> int:
    """List the teardowns, newest first."""
    return _tell_lines(args, record.list_teardowns(open_record(args)), NOTHING_SO_FAR)


def find(args: argparse.Namespace) -> int:
    """List the teardowns that hold what was typed."""
    found = record.find_teardowns(
        open_record(args),
        args.text,
        unit=args.unit,
        serial=args.serial,
        customer_ref=args.customer,
        opened=args.date,
    )
    return _tell_lines(args, found, "no teardown holds that")


def show(args: argparse.Namespace) -> int:
    """Show a teardown with its grades and verdicts."""
    store = open_record(args)
    teardown = record.get_teardown(store, args.name)
    earlier = record.earlier_teardowns(store, args.name)
    handed = record.handovers(store, args.name)
    if args.json:
        more = {"earlier": [t.name for t in earlier], "handovers": [asdict(h) for h in handed]}
        write_json(args.json, _as_json(teardown) | more)
    if args.json != "-":
        print(teardown_text(teardown, earlier, handed))
    return 0


def history(args: argparse.Namespace) -> int:
    """Show the earlier teardowns of the unit, each element then and now."""
    store = open_record(args)
    teardown = record.get_teardown(store, args.name)
    pairs = [(earlier, compare(earlier, teardown)) for earlier in record.earlier_teardowns(store, args.name)]
    if args.json:
        write_json(args.json, [_history_json(earlier, elements) for earlier, elements in pairs])
    if args.json != "-":
        print(
            "\n\n".join(_history_text(earlier, teardown, elements) for earlier, elements in pairs)
            or _first(teardown)
        )
    return 0


def change(args: argparse.Namespace) -> int:
    """State facts of a teardown anew."""
    record.change_teardown(open_record(args), args.name, **_facts(args))
    print(f"teardown {printable(args.name)} changed")
    return 0


def close(args: argparse.Namespace) -> int:
    """Close a teardown."""
    record.close_teardown(open_record(args), args.name)
    print(f"teardown {printable(args.name)} closed")
    return 0


def reopen(args: argparse.Namespace) -> int:
    """Open a closed teardown again."""
    record.reopen_teardown(open_record(args), args.name)
    print(f"teardown {printable(args.name)} open again")
    return 0


def teardown_text(teardown: Teardown, earlier: list[Teardown], handed: list[record.Handover]) -> str:
    """The job, heat where none is expected, then each of its elements."""
    facts = {
        "unit": teardown.unit,
        "serial": teardown.serial,
        "customer": teardown.customer or (ERASED if teardown.customer_id else None),
        "wish": teardown.wish,
        "mileage": teardown.mileage.both if teardown.mileage else None,
        "opened (UTC)": _minute(teardown.opened_at),
        "closed": "yes" if teardown.closed else None,
        "blind": "grades are hidden until the verdict is in" if teardown.blind else None,
        "opened before": ", ".join(f"{t.name} ({t.opened_at[:10]})" for t in earlier),
        "report handed over": ", ".join(h.handed_at[:10] for h in handed),
    }
    head = [
        printable(teardown.name),
        *(f"{name}: {printable(value)}" for name, value in facts.items() if value),
    ]
    news = news_text(teardown)
    elements = [element_text(element, part_lines(element)) for element in teardown.elements]
    paragraphs = ["\n".join(head)]
    if news:
        paragraphs.append(news)
    beside = [text for text in (findings_text(teardown), measured_text(teardown)) if text]
    return "\n\n".join([*paragraphs, *(elements or ["nothing graded or judged so far"]), *beside])


def _facts(args: argparse.Namespace) -> dict[str, Any]:
    return {
        "unit": args.unit,
        "serial": args.serial,
        "customer_ref": args.customer,
        "wish": args.wish,
        "blind": yes_or_no(args.blind),
        "mileage": args.mileage,
    }


def _tell_lines(args: argparse.Namespace, teardowns: list[TeardownLine], none: str) -> int:
    if args.json:
        write_json(args.json, [asdict(line) for line in teardowns])
    if args.json == "-":
        return 0
    header = ["teardown", "unit", "serial", "customer", "opened (UTC)", "closed", "elements"]
    rows = [
        [
            t.name,
            t.unit or "",
            t.serial or "",
            t.customer or "",
            _minute(t.opened_at),
            "closed" if t.closed else "",
            str(t.elements),
        ]
        for t in teardowns
    ]
    print(table(header, rows, right=(6,)) or none)
    return 0


def _as_json(teardown: Teardown) -> dict[str, Any]:
    """The whole record of a teardown: every grading and every verdict, oldest first."""
    return {
        "name": teardown.name,
        "unit": teardown.unit,
        "serial": teardown.serial,
        "customer": teardown.customer,
        "wish": teardown.wish,
        "mileage": mileage_json(teardown.mileage),
        "opened_at": teardown.opened_at,
        "blind": teardown.blind,
        "closed": teardown.closed,
        "elements": [
            {
                "name": element.name,
                "expectation": element.expectation,
                "duty": asdict(element.duty),
                "unexpected_heat": [line.part["id"] for line in unexpected_heat(element)],
                "gradings": [
                    {"graded_at": g.graded_at, "document_sha256": g.document_sha256, "document": g.document}
                    for g in element.gradings
                ],
                "verdicts": [asdict(v) for v in element.verdicts],
            }
            for element in teardown.elements
        ],
        "findings": findings_json(teardown),
        "measured": [measured_json(one) for one in teardown.measured],
    }


def _first(teardown: Teardown) -> str:
    if teardown.serial is None:
        return (
            "no serial number is noted; add it with: wearview teardown change "
            f"{printable(repr(teardown.name))} --serial S"
        )
    return f"serial number {printable(teardown.serial)} was not opened before"


def _history_text(earlier: Teardown, now: Teardown, elements: list[Comparison]) -> str:
    title = printable(f"{earlier.name}, opened {earlier.opened_at[:10]}" + _of_unit(earlier))
    paragraphs = [f"{title}\n{'-' * len(title)}"]
    for pair in elements:
        header = ["pos", "then", "verdict then", "now", "verdict now", "what became of it"]
        rows = [[row.label, *_cells(row.then), *_cells(row.now), fate_words(row)] for row in pair.rows]
        said = [wrapped(printable(line)) for line in comparison_words(pair, now)]
        paragraphs.append(
            "\n".join([printable(pair.now.name), table(header, rows) or "nothing graded", *said])
        )
    if not elements:
        paragraphs.append("nothing was graded or judged then")
    return "\n\n".join(paragraphs)


def _of_unit(teardown: Teardown) -> str:
    return f", {teardown.unit}" if teardown.unit else ""


def _cells(line: PartLine | None) -> list[str]:
    return ["", ""] if line is None else [grade_text(line), verdict_cell(line.verdict)]


def _history_json(earlier: Teardown, elements: list[Comparison]) -> dict[str, Any]:
    return {
        "teardown": earlier.name,
        "unit": earlier.unit,
        "opened_at": earlier.opened_at,
        "mileage": mileage_json(earlier.mileage),
        "elements": [
            {
                "name": pair.now.name,
                "replaced_then": [asdict(line) for line in pair.new],
                "profile": dict(zip(("then", "now"), map(asdict, pair.profiles), strict=True)),
                "other_rules": pair.other_rules,
                "positions": [
                    {
                        "position": row.label,
                        "then": _part_json(row.then),
                        "now": _part_json(row.now),
                        "became": row.fate,
                        "level_change": row.change,
                    }
                    for row in pair.rows
                ],
            }
            for pair in elements
        ],
    }


def _part_json(line: PartLine | None) -> dict[str, Any] | None:
    if line is None:
        return None
    return {
        "part_id": line.part["id"],
        "kind": line.part["kind"],
        "grade": line.part["grade"],
        "verdict": None if line.verdict is None else asdict(line.verdict),
    }


def _minute(moment: str) -> str:
    return moment[:16].replace("T", " ")
