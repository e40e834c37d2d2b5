"""Two photos of one part under two lights: laid onto each other, their shine parted."""

from wearview.pair.align import Laid, lay_onto
from wearview.pair.separate import moved_shine

__all__ = ["Laid", "lay_onto", "moved_shine"]
