"""Taking the light out of a photo: what white would be here, and how the light falls off across the bench."""

from wearview.light.estimate import Light, estimate_light, match_light
from wearview.light.neutral import Neutral, find_neutrals

__all__ = ["Light", "Neutral", "estimate_light", "find_neutrals", "match_light"]
