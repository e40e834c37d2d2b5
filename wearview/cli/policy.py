"""`wearview policy` and `wearview suggest`: what the shop wants done in cases that makers disagree on."""

import argparse
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from wearview import store as record
from wearview.cli.outputs import write_json
from wearview.cli.tables import grade_text, printable, table, verdict_cell
from wearview.cli.where import open_record
from wearview.errors import CallError
from wearview.policy import Policy, change_policy, load_policy
from wearview.record import PACK, Element, Teardown, part_lines, suggestions
from wearview.terms import POLICY_CASES

NOTHING_SETTLED = "no policy is settled; makers disagree, so none ships with the program"
ONLY_SUGGESTED = "Suggested only: grades stay as they are, and a verdict is given by a person."


def show(args: argparse.Namespace) -> int:
    """Show the policy."""
    return _tell(args, load_policy(args.version_id))


def change(args: argparse.Namespace) -> int:
    """Write the policy's next version."""
    changes = {case: getattr(args, case) for case in POLICY_CASES if getattr(args, case) is not None}
    if not changes:
        raise CallError("policy set", "changes nothing", "Give at least one case, as --hot-spots replace")
    note = f"Settled by {printable(args.by)} on {datetime.now(UTC):%Y-%m-%d}."
    return _tell(args, change_policy(changes, note))


def suggest(args: argparse.Namespace) -> int:
    """Show what the policy suggests beside grades and verdicts."""
    policy = load_policy(args.policy)
    teardown = record.get_teardown(open_record(args), args.teardown)
    rows = [row for element in teardown.elements for row in _rows(teardown, element, policy)]
    if args.json:
        write_json(args.json, {"policy": policy.id, "suggestions": rows})
    if args.json != "-":
        print(_suggest_text(rows, policy))
    return 0


def _tell(args: argparse.Namespace, policy: Policy) -> int:
    if args.json:
        write_json(args.json, asdict(policy))
    if args.json != "-":
        rows = [[words, getattr(policy, case) or "-"] for case, words in POLICY_CASES.items()]
        settled = any(getattr(policy, case) for case in POLICY_CASES)
        print(table([policy.id, "suggest"], rows) if settled else NOTHING_SETTLED)
    return 0


def _rows(teardown: Teardown, element: Element, policy: Policy) -> list[dict[str, Any]]:
    lines = {line.label: line for line in part_lines(element)}
    whole = element.pack_verdicts[-1] if element.pack_verdicts else None
    rows = []
    for found in suggestions(element, teardown.wish, policy):
        verdict = whole if found.target == PACK else lines[found.target].verdict
        rows.append(
            {
                "element": element.name,
                "target": found.target,
                "grade": None if found.target == PACK else grade_text(lines[found.target]),
                "suggested": found.decision,
                "because": found.because,
                "verdict": None if verdict is None else asdict(verdict),
                "verdict_text": verdict_cell(verdict),
            }
        )
    return rows


def _suggest_text(rows: list[dict[str, Any]], policy: Policy) -> str:
    if not any(getattr(policy, case) for case in POLICY_CASES):
        return NOTHING_SETTLED
    if not rows:
        return f"{policy.id} suggests nothing here"
    header = ["element", "pos", "heat level", "verdict", "suggested", "because"]
    keys = ("element", "target", "grade", "verdict_text", "suggested", "because")
    return f"{table(header, [[row[key] or '' for key in keys] for row in rows])}\n\n{ONLY_SUGGESTED}"
