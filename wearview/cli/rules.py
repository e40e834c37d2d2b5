"""`wearview rules`: the thresholds a shop grades by, and new ones from its own heat levels."""

import argparse
import sys
from datetime import UTC, datetime

from wearview import store as record
from wearview.agreement import (
    LEAST_PACKS,
    LEAST_PAIRS,
    LINING_ROWS,
    STEEL_ROWS,
    Proposal,
    lining_eye,
    propose,
    steel_eye,
)
from wearview.cli.tables import printable, table
from wearview.cli.where import open_record
from wearview.settings import Settings
from wearview.shop import accept_rules, rules_files, shop_folder, shop_settings

NOTHING = (
    "nothing to propose: it takes "
    f"{LEAST_PAIRS} parts of {LEAST_PACKS} packs with a heat level of your own, and a difference that is sure"
)


def list_rules(args: argparse.Namespace) -> int:
    """List the versions of the rules and say which one grades."""
    own = shop_folder() / "rules"
    used = shop_settings().rules.id
    rows = [
        [name, "in use" if name == used else "", "your own" if path.parent == own else "shipped"]
        for name, path in sorted(rules_files(own).items())
    ]
    print(table(["rules", "", "whose"], rows))
    return 0


def propose_rules(args: argparse.Namespace) -> int:
    """Show thresholds that fit the technicians' heat levels better, if there are any."""
    found = _proposals(args, shop_settings())
    print(proposal_text(found) if found else NOTHING)
    return 0


def accept(args: argparse.Namespace) -> int:
    """Make the proposed thresholds the next version of the rules, in a person's name."""
    settings = shop_settings()
    found = _proposals(args, settings)
    if not found:
        print(NOTHING)
        return 0
    shares = {
        name: row.proposed
        for names, proposal in found
        for name, row in zip(names, proposal.rows, strict=True)
        if row.differs
    }
    heat_levels = sum(proposal.n for _, proposal in found)
    note = (
        f"Accepted by {printable(args.by)} on {datetime.now(UTC):%Y-%m-%d} "
        f"from {heat_levels} heat levels of the shop's own."
    )
    path = accept_rules(settings, shares, note)
    print(proposal_text(found))
    print(f"\n{path.stem} is in use from now on: {printable(str(path))}\nStored grades stay as they are.")
    return 0


Found = list[tuple[tuple[str, ...], Proposal]]


def _proposals(args: argparse.Namespace, settings: Settings) -> Found:
    judged = list(record.judged_parts(open_record(args)))
    rules = settings.rules
    print(f"comparing {len(judged)} heat levels with what was measured", file=sys.stderr, flush=True)
    tried = (
        (LINING_ROWS, propose(lining_eye(judged, rules), rules.lining_areas)),
        (STEEL_ROWS, propose(steel_eye(judged, rules), rules.steel_areas)),
    )
    return [(names, proposal) for names, proposal in tried if proposal is not None]


def proposal_text(found: Found) -> str:
    """The thresholds that would change, with their intervals, and what is gained."""
    paragraphs = []
    for names, proposal in found:
        rows = [
            [name, f"{row.current:.2f}", f"{row.proposed:.2f}", f"{row.low:.2f} to {row.high:.2f}"]
            for name, row in zip(names, proposal.rows, strict=True)
            if row.differs
        ]
        low, high = proposal.gain
        paragraphs.append(
            table(["share of the face", "now", "proposed", "95 % interval"], rows, right=(1, 2))
            + f"\nfrom {proposal.n} parts of {proposal.packs} packs"
            + "\nmean squared difference of the levels, on packs kept out of the fit: "
            + f"{proposal.error_before:.3f} now, {proposal.error_after:.3f} then "
            + f"(gain, 95 %: {low:.3f} to {high:.3f})"
        )
    return "\n\n".join(paragraphs)
