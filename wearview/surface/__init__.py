"""The face of a part, rectified and with the light taken out: what the measurements look at."""

from wearview.surface.face import Face, take_face
from wearview.surface.rectify import GRID, Rectified, rectify
from wearview.surface.texture import diameter_of

__all__ = ["GRID", "Face", "Rectified", "diameter_of", "rectify", "take_face"]
