"""`wearview agreement`: grades beside the technicians' own heat levels, over the whole record."""

import argparse
import json
from collections.abc import Mapping
from typing import Any

from wearview import store as record
from wearview.agreement import (
    LEAST_PAIRS,
    NOTES,
    QUARTER,
    SCHEME,
    SIGHT,
    TECHNICIAN,
    Agreement,
    Counted,
)
from wearview.cli.outputs import write_text
from wearview.cli.tables import printable, table
from wearview.cli.where import open_record
from wearview.terms import how_many

LEVELS = ("0", "1", "2", "3", "4")
GROUPS = (("given", SIGHT), ("technician", TECHNICIAN), ("quarter", QUARTER))


def agreement(args: argparse.Namespace) -> int:
    """Show the agreement."""
    counted = record.counted(open_record(args))
    if args.json:
        write_text(args.json, json.dumps(_as_json(counted), allow_nan=False, indent=1) + "\n")
    if args.json != "-":
        print(agreement_text(counted))
    return 0


def agreement_text(counted: Counted) -> str:
    """The figures with their N, levels and decisions beside grades, and what to look at together."""
    whole = counted.whole
    if not counted.judged:
        return "no part has both a grade and a verdict so far"
    paragraphs = [_figures(whole)]
    if whole.n:
        counts = [[level, *map(str, row)] for level, row in zip(LEVELS, whole.counts.tolist(), strict=True)]
        header = ["graded", *(f"seen {level}" for level in LEVELS)]
        paragraphs.append(table(header, counts, right=range(6)))
    given = {name: row for name, row in counted.decisions.items() if any(row)}
    header = ["decision", *(f"graded {level}" for level in LEVELS), "cannot tell"]
    paragraphs.append(
        table(header, [[name, *map(str, row)] for name, row in given.items()], right=range(1, 7))
    )
    for title, grouping in GROUPS:
        rows = [_row(name, found) for name, found in counted.by(grouping).items()]
        header = [title, "parts", "packs", "kappa", "95 % interval", "same", "within one"]
        if len(rows) > 1:
            paragraphs.append(table(header, rows, right=(1, 2, 3, 5, 6)))
    if counted.apart:
        lines = [
            f"  {printable(f'{part.pack}, {part.position}')}: graded {part.level}, seen {part.heat}"
            + (f" [{printable(part.by)}]" if part.by else "")
            for part in counted.apart
        ]
        paragraphs.append("\n".join(["farthest apart, to look at together:", *lines]))
    return "\n\n".join(paragraphs)


def _figures(found: Agreement) -> str:
    lines = [
        f"{how_many(found.n, 'part')} with a grade and a heat level of the technician's own, "
        f"from {how_many(found.packs, 'pack')}"
    ]
    if found.kappa is not None and found.interval is not None:
        low, high = found.interval
        lines.append(f"kappa {found.kappa:.2f}, {low:.2f} to {high:.2f} ({SCHEME})")
    if found.exact is not None and found.within_one is not None:
        lines.append(f"same level {100 * found.exact:.0f} %, within one level {100 * found.within_one:.0f} %")
    return "\n".join([*lines, *(NOTES[note] for note in found.notes)])


def _row(name: str, found: Agreement) -> list[str]:
    assert found.exact is not None
    assert found.within_one is not None
    if found.kappa is None or found.interval is None:
        figures = [f"{found.n} of {LEAST_PAIRS}" if found.n < LEAST_PAIRS else "-", ""]
    else:
        figures = [f"{found.kappa:.2f}", f"{found.interval[0]:.2f} to {found.interval[1]:.2f}"]
    shares = [f"{100 * share:.0f} %" for share in (found.exact, found.within_one)]
    return [name, str(found.n), str(found.packs), *figures, *shares]


def _as_json(counted: Counted) -> dict[str, Any]:
    def grouped(groups: Mapping[str, Agreement]) -> dict[str, Any]:
        return {name: _agreement_json(found) for name, found in groups.items()}

    return {
        "scheme": SCHEME,
        "all": _agreement_json(counted.whole),
        "by_sight": grouped(counted.by(SIGHT)),
        "by_technician": grouped(counted.by(TECHNICIAN)),
        "by_quarter": grouped(counted.by(QUARTER)),
        "decisions": {name: list(row) for name, row in counted.decisions.items()},
        "most_apart": [
            {
                "id": p.part_id,
                "pack": p.pack,
                "position": p.position,
                "level": p.level,
                "heat": p.heat,
                "by": p.by,
            }
            for p in counted.apart
        ],
    }


def _agreement_json(found: Agreement) -> dict[str, Any]:
    return {
        "n": found.n,
        "packs": found.packs,
        "counts": found.counts.tolist(),
        "kappa": found.kappa,
        "interval": found.interval,
        "exact": found.exact,
        "within_one": found.within_one,
        "notes": list(found.notes),
    }
