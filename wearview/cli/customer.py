"""`wearview customer`: the personal data kept of customers."""

import argparse
from dataclasses import asdict

from wearview import store as record
from wearview.cli.outputs import write_json
from wearview.cli.tables import printable, table
from wearview.cli.where import open_record

_HEADER = ("customer", "name", "phone", "plate number", "teardowns")


def list_all(args: argparse.Namespace) -> int:
    """List the customers."""
    return _tell(args, record.list_customers(open_record(args)))


def show(args: argparse.Namespace) -> int:
    """Show what is kept of one customer."""
    return _tell(args, [record.get_customer(open_record(args), args.reference)])


def change(args: argparse.Namespace) -> int:
    """Note or correct a customer's data."""
    kept = record.correct_customer(
        open_record(args),
        args.reference,
        new_reference=args.ref,
        name=args.name,
        phone=args.phone,
        plate=args.plate,
    )
    print(_table([kept]))
    return 0


def erase(args: argparse.Namespace) -> int:
    """Erase a customer's data, and say where copies of it may be left."""
    copies = record.erase_customer(open_record(args), args.reference)
    print(f"customer {printable(args.reference)} erased; teardowns, grades and verdicts stay")
    for path in copies:
        print(f"a copy of the older record still holds it: {printable(str(path))}")
    print("backups and reports made before still hold it too")
    return 0


def _tell(args: argparse.Namespace, customers: list[record.Customer]) -> int:
    if args.json:
        write_json(args.json, [asdict(kept) for kept in customers])
    if args.json != "-":
        print(
            _table(customers)
            or "no customer so far; note one with: wearview teardown new NAME --customer REF"
        )
    return 0


def _table(customers: list[record.Customer]) -> str:
    rows = [
        [c.reference, c.name or "", c.phone or "", c.plate or "", ", ".join(c.teardowns)] for c in customers
    ]
    return table(_HEADER, rows)
