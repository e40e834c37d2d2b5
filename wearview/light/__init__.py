"""Taking the light out of a photo: what white would be here, and how the light falls off across the bench."""

from wearview.light.estimate import Light, estimate_light, match_light, of_other_sheet
from wearview.light.known import NOTHING_MEASURED, KnownColours, Targets, find_targets, known_colours
from wearview.light.neutral import Neutral, find_neutrals

__all__ = [
    "NOTHING_MEASURED",
    "KnownColours",
    "Light",
    "Neutral",
    "Targets",
    "estimate_light",
    "find_neutrals",
    "find_targets",
    "known_colours",
    "match_light",
    "of_other_sheet",
]
