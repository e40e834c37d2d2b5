"""Which edge of a plate carries its teeth, where both show a row of them or neither does.

Through the hole of the upper plate of a pack shows the next one's teeth, round it lie the slots of the drum;
of a plate that others half hide too little of the edge is left to read. Then the part network, the plate's
material and the plates of its size decide.
"""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from wearview.parts.candidate import Plate
from wearview.parts.choose import as_large
from wearview.parts.learned import AROUND, TEETH, Sight
from wearview.parts.teeth import find_teeth, no_teeth

# Log odds of the outer edge for each unit of the `side_cues`, by `python -m tests.training.sides`.
WEIGHTS = (5.4, 2.2, -0.5, -0.6)
# Odds under which, and with rows of teeth as alike, plates of the same size and material have a say: where
# one row is plainly the better, clean linings that the network takes for metal would follow the steels beside
# them. Log odds of lining, 2 at most, from which on it is sure of it; and the most that one plate says.
OPEN, ALIKE, SURE_LINING, MOST = 2.0, 0.5, 1.5, 4.0
EVIDENT = 0.5  # evidence of teeth that count for the other plates of a pack too; with 0.3 it is the same
BEYOND = np.array([0.02, 0.045, 0.07, 0.1])  # of the outer radius: where teeth lie beyond a rim


def on_one_edge(plates: Sequence[Plate], sight: Sight | None) -> list[Plate]:
    """The plates of a photo, each with teeth on one edge only: splined to the drum or to the hub.

    Parameters
    ----------
    plates : sequence of Plate
        With what was read beyond both of their rims.
    sight : Sight or None
        What the network sees.
    """
    own = [_odds_of_outer(plate, sight) for plate in plates]
    odds = [
        value + _said_by_others(k, plates, own) if _is_open(value, plates[k]) else value
        for k, value in enumerate(own)
    ]
    settled = [_with_teeth_on(plate, value >= 0) for plate, value in zip(plates, odds, strict=True)]
    return [_with_count(plate, value >= 0, settled) for plate, value in zip(settled, odds, strict=True)]


def _odds_of_outer(plate: Plate, sight: Sight | None) -> float:
    return sum(weight * cue for weight, cue in zip(WEIGHTS, side_cues(plate, sight), strict=True))


def side_cues(plate: Plate, sight: Sight | None) -> tuple[float, float, float, float]:
    """What speaks for the outer edge: by how much more evident the row of teeth on it is; by how much surer
    the network is of teeth there; the log odds that the face is lining; and these by how evident teeth are on
    both edges."""
    outside, inside = plate.outside.evidence, plate.inside.evidence
    seen = 0.0
    if sight is not None:
        seen = _teeth_seen(sight, plate, True) - _teeth_seen(sight, plate, False)
    lining = _lining(plate)
    return outside - inside, seen, lining, lining * min(outside, inside)


def _is_open(odds: float, plate: Plate) -> bool:
    return abs(odds) < OPEN and abs(plate.outside.evidence - plate.inside.evidence) < ALIKE


def _lining(plate: Plate) -> float:
    return 0.0 if plate.seen is None else plate.seen.lining


def _teeth_seen(sight: Sight, plate: Plate, outward: bool) -> float:
    """Mean over the open angles of the network's best chance of teeth beyond a rim, 0..1."""
    rho = 1 + BEYOND if outward else plate.ratio - BEYOND
    hole, rim = (sight.to_cells(edge.ellipse.points(AROUND)) for edge in (plate.inner, plate.outer))
    across = ((rho - plate.ratio) / (1 - plate.ratio))[:, None, None]
    cells = (hole + (rim - hole) * across).astype(np.float32)
    best = cv2.remap(sight.chance[TEETH], cells, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).max(
        0
    )
    shown = ~plate.hidden[:: len(plate.hidden) // len(AROUND)]
    return float(best[shown].mean() if shown.any() else best.mean())


def _said_by_others(k: int, plates: Sequence[Plate], odds: Sequence[float]) -> float:
    """Log odds from the plates of the same size and surely the same material: one pack has them cut alike."""
    return sum(
        max(-MOST, min(MOST, odds[n]))
        for n, other in enumerate(plates)
        if n != k and as_large(other, plates[k]) and _surely_alike(other, plates[k])
    )


def _surely_alike(plate: Plate, other: Plate) -> bool:
    a, b = _lining(plate), _lining(other)
    return min(abs(a), abs(b)) > SURE_LINING and a * b > 0


def _with_teeth_on(plate: Plate, outer: bool) -> Plate:
    if outer:
        return replace(plate, inside=no_teeth(plate.ratio))
    return replace(plate, outside=no_teeth(1.0))


def _with_count(plate: Plate, outer: bool, plates: Sequence[Plate]) -> Plate:
    """The plate, its teeth read anew with the number that one of its size plainly shows on the same edge."""
    row = plate.outside if outer else plate.inside
    if row.evidence > EVIDENT:
        return plate
    others = [
        other.outside if outer else other.inside
        for other in plates
        if other is not plate and as_large(other, plate)
    ]
    best = max(others, key=lambda teeth: teeth.evidence, default=row)
    if best.evidence < EVIDENT:
        return plate
    known = find_teeth(plate.rays, outer, plate.hidden, best.count)
    return replace(plate, outside=known) if outer else replace(plate, inside=known)
