"""`Plate`: a candidate plate while the evidence for it is gathered."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.parts.learned import FaceSeen, Sight, face_seen
from wearview.parts.part import in_view, radius_ratio
from wearview.parts.rims import ANGLES, TURN, Rim
from wearview.parts.teeth import (
    FEW_LUGS,
    FEW_SPLINES,
    Rays,
    Teeth,
    bench_in_face,
    cast_rays,
    find_teeth,
)

TEETH_WORTH, ENOUGH_TEETH = 1.5, 0.4  # of a face; and the regularity beyond which teeth say no more
SEEN_WORTH = 2.0  # of the face that the network sees between two rims, beside their support and width
NARROWEST = 0.91  # inner over outer radius: the cage of a needle bearing is thinner than any plate
# Log odds of a clutch plate, and for each unit of `Plate.cues`, with what the network sees and without.
SEEN_WEIGHTS = (-4.5, 2.6, 0.6, -1.7, 10.3)
ALONE_WEIGHTS = (0.3, 3.0, 3.7, -2.7, -2.7)
BESIDE = 0.3  # weight of a face that the network sees beside this one: a neighbour may lie there


@dataclass(frozen=True, slots=True, eq=False)
class Plate:
    """A candidate plate with the evidence for it.

    Attributes
    ----------
    outer, inner : Rim
        The rims of its face, working-copy pixels.
    rays : Rays
        Its surroundings.
    outside, inside : Teeth
        What lies beyond the rims; of a plate that was settled one of them has none.
    bench : float
        Share of bench in its face, 0..1; see `teeth.bench_in_face`.
    in_frame : float
        Share of its outer rim that lies in the photo, 0..1.
    radius : float
        Of the outer rim on the bench plane, so that plates near and far compare; working-copy pixels.
    hidden : ndarray of bool, shape (ANGLES,)
        Angles at which another plate lies over a rim.
    seen : FaceSeen or None
        What the network sees of its face; None where it was not asked.
    """

    outer: Rim
    inner: Rim
    rays: Rays
    outside: Teeth
    inside: Teeth
    bench: float
    in_frame: float
    radius: float
    hidden: NDArray[np.bool_]
    seen: FaceSeen | None = None

    @property
    def ratio(self) -> float:
        """Inner over outer radius."""
        return self.rays.ratio

    @property
    def _evident(self) -> Teeth:
        return max((self.outside, self.inside), key=lambda t: t.evidence)

    @property
    def teeth(self) -> float:
        """How sure its teeth are, 0 when it has none."""
        return self._evident.surety

    @property
    def chance(self) -> float:
        """Chance that it is a clutch plate, 0..1: a face that the network sees, and teeth in step.

        Few teeth say less, as balls, rollers and holes are few too. Size was left out: it is the
        photographer's; and how much of the rims shows, as it says no more beside these. Weights by logistic
        regression: `python -m tests.training.rings`.
        """
        bias, *weights = ALONE_WEIGHTS if self.seen is None else SEEN_WEIGHTS
        odds = bias + sum(weight * cue for weight, cue in zip(weights, self.cues, strict=True))
        return 1 / (1 + math.exp(-odds))

    @property
    def cues(self) -> tuple[float, float, float, float]:
        """What speaks for and against a clutch plate: regular teeth, teeth in step, few teeth; and the face
        that the network sees, or the share of bench in it where it was not asked."""
        teeth = self._evident
        few = teeth.count < (FEW_LUGS if teeth is self.outside else FEW_SPLINES)
        face = self.bench if self.seen is None else self.seen.on
        return teeth.regularity * (1 - teeth.spill), teeth.lock, float(few), face

    @property
    def weakest(self) -> float:
        """Share of what is in view of the rim less well seen that was seen, 0..1."""
        return min(1.0, min(self.outer.coverage, self.inner.coverage) / max(self.in_frame, 1e-6))

    @property
    def support(self) -> float:
        """Mean share of the two rims that was seen."""
        return (self.outer.coverage + self.inner.coverage) / 2

    @property
    def worth(self) -> float:
        """How well this face explains its surroundings against other faces on the same rings.

        Rims that are seen and regular teeth speak for it, bench inside it against it; of two that do as well
        the wider.
        """
        by_teeth = TEETH_WORTH * min(ENOUGH_TEETH, self.teeth)
        return _worth_of_rims(self.outer, self.inner, self.seen) + by_teeth - 0.6 * self.bench

    @property
    def is_plain(self) -> bool:
        """Whether nothing speaks against it, so that other faces on the same rings need not be tried."""
        return self.support > 0.9 and self.teeth > 0.45 and self.bench < 0.1


def _worth_of_rims(outer: Rim, inner: Rim, seen: FaceSeen | None) -> float:
    support, ratio = (outer.coverage + inner.coverage) / 2, radius_ratio(outer.ellipse, inner.ellipse)
    return support + (1 - ratio) + (0.0 if seen is None else SEEN_WORTH * (seen.on - BESIDE * seen.beside))


def most_worth(outer: Rim, inner: Rim, seen: FaceSeen | None) -> float:
    """What the face between two rims can be worth at most, with the best of teeth and no bench in it."""
    return _worth_of_rims(outer, inner, seen) + TEETH_WORTH * ENOUGH_TEETH


def plate_between(smooth: NDArray[np.uint8], outer: Rim, inner: Rim, seen: FaceSeen | None = None) -> Plate:
    """The plate whose face lies between two rims, as if nothing lay over it.

    Parameters
    ----------
    smooth : ndarray, shape (H, W, 3), uint8
        The working copy, slightly smoothed.
    outer, inner : Rim
        In pixels of it.
    seen : FaceSeen, optional
        What the network sees of the face.
    """
    rays = cast_rays(smooth, outer.ellipse, inner.ellipse)
    nothing_over = np.zeros(ANGLES, bool)
    outside, inside = (find_teeth(rays, outward, nothing_over) for outward in (True, False))
    in_frame = in_view(outer.ellipse.points(TURN), (smooth.shape[1], smooth.shape[0])).mean()
    return Plate(
        outer,
        inner,
        rays,
        outside,
        inside,
        bench=bench_in_face(rays),
        in_frame=float(in_frame),
        radius=outer.radius,
        hidden=nothing_over,
        seen=seen,
    )


def face_between(
    smooth: NDArray[np.uint8], inner: Rim | None, outer: Rim | None, sight: Sight | None
) -> Plate | None:
    """The plate whose face lies between two rims; None where they cannot belong together."""
    if inner is None or outer is None or not belong_together(outer, inner):
        return None
    return plate_between(smooth, outer, inner, seen_between(sight, outer, inner))


def seen_between(sight: Sight | None, outer: Rim, inner: Rim) -> FaceSeen | None:
    """What the network sees between two rims; None without it."""
    return None if sight is None else face_seen(sight, outer.ellipse, inner.ellipse)


def belong_together(outer: Rim, inner: Rim) -> bool:
    """Whether two ellipses can be the rims of one flat ring."""
    a, b = outer.ellipse, inner.ellipse
    apart = math.hypot(a.cx - b.cx, a.cy - b.cy)
    aspect_a, aspect_b = a.minor / a.major, b.minor / b.major
    return b.major < NARROWEST * a.major and apart < 0.06 * a.major and abs(aspect_a - aspect_b) < 0.08
