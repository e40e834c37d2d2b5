"""Heat tint of a steel or reaction plate."""

from wearview.steel.families import NOT_MEASURED
from wearview.steel.readings import SteelReadings, read_steel
from wearview.steel.spots import HotSpots

__all__ = ["NOT_MEASURED", "HotSpots", "SteelReadings", "read_steel"]
