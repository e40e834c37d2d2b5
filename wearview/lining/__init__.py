"""How far a lining has changed from clean: discoloration, its gradients, and glazing."""

from wearview.lining.discoloration import AREAS, LIMITS, LiningReadings, read_lining
from wearview.lining.glazing import clean_in_photo, read_glazing

__all__ = ["AREAS", "LIMITS", "LiningReadings", "clean_in_photo", "read_glazing", "read_lining"]
