"""How far a lining has changed from clean: discoloration, its gradients, and glazing."""

from wearview.lining.discoloration import AREAS, LIMITS, LiningReadings, read_lining
from wearview.lining.glazing import clean_in_photo, read_glazing
from wearview.lining.lightest import read_too_bright, settle_sheet
from wearview.lining.two_lights import Relit, read_two_lights

__all__ = [
    "AREAS",
    "LIMITS",
    "LiningReadings",
    "Relit",
    "clean_in_photo",
    "read_glazing",
    "read_lining",
    "read_too_bright",
    "read_two_lights",
    "settle_sheet",
]
