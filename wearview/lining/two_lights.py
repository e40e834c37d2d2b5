"""Glazing of a lining that was photographed under two lights."""

import math
from dataclasses import dataclass

from wearview.lining.glazing import gained_sheen, lost_grain, read_glazing
from wearview.reading import Reading
from wearview.reference import Reference
from wearview.surface import Face

_METHOD = "two lights"
# Correlation of the fine texture in both photos: as noise gives it, and from which all of it is fibres.
# Chosen on 24 tuned rendered pairs.
_BY_CHANCE, _FIBRES = 0.12, 0.60


@dataclass(frozen=True, slots=True, eq=False)
class Relit:
    """A lining under the second light.

    Attributes
    ----------
    face : Face
        On the grid of the first photo's face.
    moved : float
        Neutral light that moved with the lamp where most did, as a share of a white sheet's; NaN for a grey
        lining.
    same : float
        How far both photos show the same fine texture, 0..1; NaN where too little is seen.
    """

    face: Face
    moved: float
    same: float = math.nan


def read_two_lights(face: Face, relit: Relit, reference: Reference) -> Reading:
    """Glazing index of a face, 0..100, from both photos; that of the one that knows it where one does.

    Notes
    -----
    A glaze has lost its grain under any light, and its shine goes where the lamp goes. Oil and water
    shine too, but the fibres under them show in one light or the other. So it is the mean of both photos'
    own indexes, and no more than the grain lost in both and the shine that moved with the lamp account
    for. And it falls as far as both photos show the same fine texture, which only fibres leave.
    """
    both = [read_glazing(one, reference) for one in (face, relit.face)]
    known = [one for one in both if one.known]
    if len(known) < len(both):
        return known[0] if known else both[0]
    value = sum(one.value for one in both) / 2
    if math.isfinite(relit.moved):
        lost = sum(lost_grain(one.grain / reference.grain, 0.0) for one in (face, relit.face)) / 2
        value = min(value, 100 * math.sqrt(lost * gained_sheen(relit.moved)))
    if math.isfinite(relit.same):
        value *= 1 - min(1.0, max(0.0, (relit.same - _BY_CHANCE) / (_FIBRES - _BY_CHANCE)))
    # The errors of both photos' indexes are mostly one and the same: patches, heat under the glaze.
    spread = max(one.spread for one in both)
    return Reading(value, both[0].unit, _METHOD, min(one.n_pixels for one in both), spread)
