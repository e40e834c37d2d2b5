"""Two photos of one part under two lights: laid onto each other, their shine parted."""

from wearview.pair.align import Laid, lay_onto
from wearview.pair.separate import light_change, moved_shine
from wearview.pair.turned import alike_when_laid

__all__ = ["Laid", "alike_when_laid", "lay_onto", "light_change", "moved_shine"]
