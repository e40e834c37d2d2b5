"""`wearview element`: what a clutch, brake or band does, and what is expected of it."""

import argparse
from dataclasses import asdict

from wearview import store as record
from wearview.cli.outputs import write_json
from wearview.cli.tables import duty_text, printable, table
from wearview.cli.where import open_record
from wearview.errors import CallError
from wearview.record import EXAMPLES, Duty


def duty(args: argparse.Namespace) -> int:
    """State the duty of an element."""
    typed = {
        "direction": args.direction,
        "plates": args.plates,
        "applied": args.applied,
        "expects": args.expect,
        "words": args.words,
    }
    given = {name: value for name, value in typed.items() if value is not None}
    if args.example is not None:
        given = {name: value for name, value in asdict(_example(args.example)).items() if value} | given
    stated = record.state_duty(open_record(args), args.teardown, args.element, given)
    if args.json:
        write_json(args.json, asdict(stated))
    if args.json != "-":
        print(f"{printable(args.element)}: {duty_text(stated) or 'nothing is stated of it'}")
    return 0


def examples(args: argparse.Namespace) -> int:
    """List the examples."""
    if args.json:
        write_json(args.json, {name: asdict(example) for name, example in EXAMPLES.items()})
    if args.json != "-":
        rows = [[name, example.applied or "", example.told or ""] for name, example in EXAMPLES.items()]
        print(table(["example", "applied in", "expected"], rows))
        print("\nCommon practice, no source: every unit has its own, so state what yours does.")
    return 0


def _example(name: str) -> Duty:
    if name not in EXAMPLES:
        raise CallError(name, "is no example", f"Known: {', '.join(EXAMPLES)}")
    return EXAMPLES[name]
