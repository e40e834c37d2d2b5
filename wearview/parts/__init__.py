"""Finding every clutch plate, reaction plate and band lining in a photo."""

from wearview.parts.find import find_parts
from wearview.parts.order import APPLY_ENDS, row_order
from wearview.parts.part import Ellipse, Part

__all__ = ["APPLY_ENDS", "Ellipse", "Part", "find_parts", "row_order"]
