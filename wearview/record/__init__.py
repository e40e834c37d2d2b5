"""The grading document of the contract, and what a shop keeps beside it.

`graded` is what one call found, `stated` what a person said of it beforehand, `build` makes the contract's
document of it, `document` checks and writes it, `ids` keeps a stored part's id, `history` holds the verdicts
and the view of a teardown that stores give and reports take.
"""

from typing import TYPE_CHECKING, Any

from wearview.record.document import CONTRACT, Document, combine, parts_of, schema, to_json, validate
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
from wearview.record.stated import Place, parse_kinds, parse_places

if TYPE_CHECKING:
    from wearview.record.build import build_document
    from wearview.record.graded import Graded, GradedPart, GradedPhoto

__all__ = [
    "CONTRACT",
    "PACK",
    "Document",
    "Element",
    "Graded",
    "GradedPart",
    "GradedPhoto",
    "Grading",
    "PartLine",
    "Place",
    "Teardown",
    "TeardownLine",
    "Verdict",
    "build_document",
    "combine",
    "differences",
    "keep_ids",
    "parse_kinds",
    "parse_places",
    "parse_target",
    "part_lines",
    "parts_of",
    "position_label",
    "schema",
    "to_json",
    "validate",
]


def __getattr__(name: str) -> Any:
    # These load every stage and its libraries, about a second, which listing a record must not cost.
    if name == "build_document":
        from wearview.record import build

        return build.build_document
    if name in ("Graded", "GradedPart", "GradedPhoto"):
        from wearview.record import graded

        return getattr(graded, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
