"""Finding every clutch plate, reaction plate and band lining in a photo."""

from wearview.parts.corrected import BandEdges, Corrections, Rims, check_band, check_rims, fit_points
from wearview.parts.find import NOTHING_SAID, find_parts
from wearview.parts.learned import Sight, look
from wearview.parts.nothing import nothing_found
from wearview.parts.order import APPLY_ENDS, behind_gap, lie_in_rows, row_order
from wearview.parts.part import Ellipse, Part

__all__ = [
    "APPLY_ENDS",
    "NOTHING_SAID",
    "BandEdges",
    "Corrections",
    "Ellipse",
    "Part",
    "Rims",
    "Sight",
    "behind_gap",
    "check_band",
    "check_rims",
    "find_parts",
    "fit_points",
    "lie_in_rows",
    "look",
    "nothing_found",
    "row_order",
]
