"""Glazing of a lining that was photographed under two lights."""

import math
from dataclasses import dataclass

from wearview.lining.glazing import SHEEN_REACH, evidence_of_glaze, read_glazing
from wearview.reading import Reading
from wearview.reference import Reference
from wearview.surface import Face
from wearview.terms import TWO_LIGHTS

# Weights that tell from its grain how far a surface has closed: bias, of the log of the grain that both
# photos share, of the log of the clean lining's. A single photo of clean lining knows its grain less well
# than the pair knows this one's, so it weighs less. Fitted by `python -m tests.training.glazing --pairs DIR`
# on rendered pairs, no real ones.
_CLOSING = (0.52, -5.03, 0.99)
FAINTEST_SHARED = 0.2  # below it the weights were not fitted
_SHARED = 2 / 3  # weight of the shared grain, which alone has no noise, beside both photos' own indexes
_INDEX_ERROR = 20.0  # half width of the 90 % interval of the index read so
# Light that clean lining returns, of a white sheet's; share of the power of its contrast that is no fibres
# (dust, mottle), which glaze leaves.
_CLEAN_SHEEN, _NO_FIBRES = 0.008, 0.2


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
    shared : float
        Contrast of the fine texture that both photos show, as `read_shared_grain` has it; NaN where it is not
        resolved.
    """

    face: Face
    moved: float
    shared: float = math.nan


def read_two_lights(face: Face, relit: Relit, reference: Reference) -> Reading:
    """Glazing index of a face, 0..100, from both photos; that of the one that knows it where one does.

    Notes
    -----
    Oil and water shine as a glaze does, and in one photo the camera's noise passes for fibres or hides them.
    The grain that both photos share has no noise in it: under oil the fibres are there, under a glaze they
    are gone. What each photo shows by itself counts for half as much; and both as far as there is a sheen at
    all on a lining whose colour can tell, and one that moved with the lamp. Where no grain is shared that can
    be resolved, the mean of both photos' own indexes is the reading, and no more than the grain lost in both
    and the shine that moved account for.
    """
    both = [read_glazing(one, reference) for one in (face, relit.face)]
    known = [one for one in both if one.known]
    n = min(one.n_pixels for one in both)
    if known and math.isfinite(relit.shared):
        alone = sum(one.value for one in known) / len(known)
        closed = _SHARED * _by_shared_grain(relit, reference) + (1 - _SHARED) * alone
        value = closed * sheen_shown(face, relit, reference)
        return Reading(value, both[0].unit, TWO_LIGHTS, n, _INDEX_ERROR)
    if len(known) < len(both):
        return known[0] if known else both[0]
    value = sum(one.value for one in both) / 2
    if math.isfinite(relit.moved):
        lost = sum(_lost_grain(one.grain / reference.grain) for one in (face, relit.face)) / 2
        value = min(value, 100 * math.sqrt(lost * _gained_sheen(relit.moved)))
    # The errors of both photos' indexes are mostly one and the same: patches, heat under the glaze.
    spread = max(one.spread for one in both)
    return Reading(value, both[0].unit, TWO_LIGHTS, n, spread)


def cues(shared: float, clean: float) -> tuple[float, float, float]:
    """What the weights are for: one, and the logs of the shared and of the clean lining's grain."""
    return 1.0, math.log(max(shared, FAINTEST_SHARED)), math.log(clean)


def sheen_shown(face: Face, relit: Relit, reference: Reference) -> float:
    """How far there is a sheen and it moved with the lamp, 0..1; 1 where the lining's colour cannot tell."""
    shown = [evidence_of_glaze(one, reference) for one in (face, relit.face)]
    light = max(one.added for one in shown) if shown[0].coloured else math.inf
    return math.sqrt(_reached(light) * (_reached(relit.moved) if math.isfinite(relit.moved) else 1.0))


def _lost_grain(grain: float) -> float:
    """Share of the fibres' contrast that is gone, 0..1, from the grain left as a share of the clean grain."""
    return 1 - math.sqrt(min(1.0, max(0.0, (grain**2 - _NO_FIBRES) / (1 - _NO_FIBRES))))


def _gained_sheen(added: float) -> float:
    """Share of the sheen that clean lining does not have, 0..1, from the light added, of a white sheet's."""
    return 1 - _CLEAN_SHEEN / (_CLEAN_SHEEN + max(0.0, added))


def _by_shared_grain(relit: Relit, reference: Reference) -> float:
    from scipy.special import expit  # a sixth of a second that photos under one light save

    weighed = zip(_CLOSING, cues(relit.shared, reference.grain), strict=True)
    return 100 * float(expit(sum(weight * cue for weight, cue in weighed)))


def _reached(light: float) -> float:
    return min(1.0, max(0.0, light / SHEEN_REACH))
