"""The grading document of the contract, and what a shop keeps beside it.

`graded` is what one call found, `stated` what a person said of it beforehand, `build` makes the contract's
document of it, `document` checks and writes it, `ids` keeps a stored part's id.
`history` is the view of a teardown that stores give and reports take, with `duty` of its elements and
`verdict`s, what was looked at beside the packs (`inspection`) and `measured` with a tool; `blind` hides
grades until a verdict is in, `comparison` sets an earlier teardown of the unit beside this one, `followed`
sees one lining over all units, with the `mileage` of each, `known` holds both for a report, `orders` makes
the parts list, `suggest` what the shop's policy suggests.
"""

from typing import TYPE_CHECKING, Any

from wearview.record.blind import HIDDEN, veil, veil_document
from wearview.record.comparison import KEPT, RENEWED, UNTOLD, Comparison, Profile, ThenNow, compare
from wearview.record.document import CONTRACT, Document, combine, parts_of, schema, to_json, validate
from wearview.record.duty import EXAMPLES, Duty
from wearview.record.followed import (
    LEAST_PACKS,
    LEAST_PLATES,
    STEP_KM,
    Followed,
    Heat,
    LinedPlate,
    follow,
    lining_of,
    places_from_reaction_end,
)
from wearview.record.history import (
    Element,
    Grading,
    PartLine,
    Teardown,
    TeardownLine,
    differences,
    miscount,
    part_lines,
    unexpected_heat,
)
from wearview.record.ids import keep_ids
from wearview.record.inspection import (
    EXAMPLE_CHECKLIST,
    NOT_DONE,
    AttachedPhoto,
    CheckLine,
    Inspection,
    check_lines,
    counted,
)
from wearview.record.known import NOTHING_MORE, Known
from wearview.record.length import Length, parse_length
from wearview.record.measured import OVER, UNDER, WITHIN, Measured, measured_from, measured_json
from wearview.record.mileage import KM_PER_MILE, Mileage, mileage_json, parse_mileage
from wearview.record.orders import OrderLine, parts_list
from wearview.record.stated import Place, Shows, in_shots, parse_kinds, parse_places
from wearview.record.suggest import Suggestion, suggestions
from wearview.record.verdict import PACK, Verdict, parse_target, position_label

if TYPE_CHECKING:
    from wearview.record.build import build_document
    from wearview.record.graded import Graded, GradedPart, GradedPhoto, SecondLight, without_pictures

__all__ = [
    "CONTRACT",
    "EXAMPLES",
    "EXAMPLE_CHECKLIST",
    "HIDDEN",
    "KEPT",
    "KM_PER_MILE",
    "LEAST_PACKS",
    "LEAST_PLATES",
    "NOTHING_MORE",
    "NOT_DONE",
    "OVER",
    "PACK",
    "RENEWED",
    "STEP_KM",
    "UNDER",
    "UNTOLD",
    "WITHIN",
    "AttachedPhoto",
    "CheckLine",
    "Comparison",
    "Document",
    "Duty",
    "Element",
    "Followed",
    "Graded",
    "GradedPart",
    "GradedPhoto",
    "Grading",
    "Heat",
    "Inspection",
    "Known",
    "Length",
    "LinedPlate",
    "Measured",
    "Mileage",
    "OrderLine",
    "PartLine",
    "Place",
    "Profile",
    "SecondLight",
    "Shows",
    "Suggestion",
    "Teardown",
    "TeardownLine",
    "ThenNow",
    "Verdict",
    "build_document",
    "check_lines",
    "combine",
    "compare",
    "counted",
    "differences",
    "follow",
    "in_shots",
    "keep_ids",
    "lining_of",
    "measured_from",
    "measured_json",
    "mileage_json",
    "miscount",
    "parse_kinds",
    "parse_length",
    "parse_mileage",
    "parse_places",
    "parse_target",
    "part_lines",
    "parts_list",
    "parts_of",
    "places_from_reaction_end",
    "position_label",
    "schema",
    "suggestions",
    "to_json",
    "unexpected_heat",
    "validate",
    "veil",
    "veil_document",
    "without_pictures",
]


def __getattr__(name: str) -> Any:
    # These load every stage and its libraries, about a second, which listing a record must not cost.
    if name == "build_document":
        from wearview.record import build

        return build.build_document
    if name in ("Graded", "GradedPart", "GradedPhoto", "SecondLight", "without_pictures"):
        from wearview.record import graded

        return getattr(graded, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
