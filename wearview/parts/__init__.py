"""Finding every clutch plate, reaction plate and band lining in a photo."""

from wearview.parts.part import Ellipse, Part

__all__ = ["Ellipse", "Part"]
