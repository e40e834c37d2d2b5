"""The face of a part, rectified and with the light taken out: what the measurements look at."""

from wearview.surface.face import GRID, Face, take_face

__all__ = ["GRID", "Face", "take_face"]
