"""The grading document of the contract, and what a shop keeps beside it.

`document` checks and writes the document, `ids` keeps a stored part's id, `history` holds the verdicts and
the view of a teardown that stores give and reports take.
"""

from wearview.record.document import CONTRACT, combine, parts_of, schema, to_json, validate
from wearview.record.history import (
    PACK,
    Element,
    Grading,
    PartLine,
    Teardown,
    TeardownLine,
    Verdict,
    differences,
    parse_target,
    part_lines,
    position_label,
)
from wearview.record.ids import keep_ids

__all__ = [
    "CONTRACT",
    "PACK",
    "Element",
    "Grading",
    "PartLine",
    "Teardown",
    "TeardownLine",
    "Verdict",
    "combine",
    "differences",
    "keep_ids",
    "parse_target",
    "part_lines",
    "parts_of",
    "position_label",
    "schema",
    "to_json",
    "validate",
]
