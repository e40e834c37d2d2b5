"""`wearview verdict`, `parts`, `report`, `shop`: what a teardown comes to, what the shop has settled."""

import argparse
import sys
from dataclasses import asdict
from pathlib import Path

from wearview import store as record
from wearview.cli.outputs import write_json
from wearview.cli.tables import printable, table, verdict_text, yes_or_no
from wearview.cli.where import open_record
from wearview.errors import CallError
from wearview.files import write_whole
from wearview.record import HIDDEN, OrderLine, Teardown, part_lines, parts_list


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


def parts(args: argparse.Namespace) -> int:
    """List what to order."""
    lines = parts_list(record.get_teardown(open_record(args), args.teardown))
    if args.json:
        write_json(args.json, [asdict(line) for line in lines])
    if args.json != "-":
        header = ["element", "part", "order", "positions", "why", "note"]
        rows = [
            [
                line.element,
                line.part,
                "count them" if line.count is None else str(line.count),
                ", ".join(map(str, line.positions)),
                _why(line),
                "; ".join(line.notes),
            ]
            for line in lines
        ]
        print(table(header, rows, right=(2,)) or "nothing is marked replace so far")
    return 0


def report(args: argparse.Namespace) -> int:
    """Write the customer's report and keep it as handed over, or write an earlier one out again."""
    store = open_record(args)
    written = _report_again(store, args) if args.kept else _new_report(store, args)
    for path in written:
        print(printable(str(path)))
    return 0


def _new_report(store: record.Store, args: argparse.Namespace) -> list[Path]:
    # These decode photos, which the other commands do not.
    from wearview.report import load_shop, shop_folder, write_report

    teardown = record.get_teardown(store, args.teardown)
    _check_verdicts_are_in(teardown)
    written = write_report(
        teardown,
        lambda sha256: record.photo_bytes(store, sha256),
        Path(args.out),
        shop=load_shop(Path(args.shop) if args.shop else shop_folder()),
        known=record.known_of(store, teardown),
        originals=args.originals,
        progress=lambda line: print(line, file=sys.stderr, flush=True),
    )
    if store.read_only:
        print("wearview: the record is read-only, so no copy of the report is kept.", file=sys.stderr)
    else:
        record.hand_over(store, teardown.name, written)
        number = len(record.handovers(store, teardown.name))
        print(f"kept as report {number} of {printable(teardown.name)}", file=sys.stderr)
    return written


def _report_again(store: record.Store, args: argparse.Namespace) -> list[Path]:
    kept = record.handovers(store, args.teardown)
    if args.kept > len(kept):
        remedy = f"It has 1 to {len(kept)}" if kept else "None was handed over so far"
        raise CallError(f"--kept {args.kept}", f"is no report of {args.teardown}", remedy)
    files = kept[args.kept - 1].files
    for name, sha256 in files.items():
        write_whole(Path(args.out) / name, record.photo_bytes(store, sha256))
    return [Path(args.out) / name for name in files]


def shop(args: argparse.Namespace) -> int:
    """Settle what holds for new teardowns, and show it."""
    store = open_record(args)
    blind = yes_or_no(args.blind)
    if blind is not None:
        record.set_shop_blind(store, blind)
    print(f"blind: {'yes' if record.shop_is_blind(store) else 'no'}")
    return 0


def _why(line: OrderLine) -> str:
    said = [*line.reasons, *(["the pack is replaced whole"] if line.whole else [])]
    if line.kept:
        said.append(f"settle first: position {', '.join(map(str, line.kept))} was judged otherwise since")
    return "; ".join(said)


def _check_verdicts_are_in(teardown: Teardown) -> None:
    for element in teardown.elements:
        if waiting := [line.label for line in part_lines(element) if HIDDEN in line.part["problems"]]:
            raise CallError(
                f"{teardown.name}, {element.name}",
                f"is judged blind and has no verdict on position {', '.join(waiting)}",
                "Give it first; then the grades may be shown",
            )
