"""`Plate`: a candidate plate while the evidence for it is gathered."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview.parts.rims import Rim
from wearview.parts.teeth import Rays, Teeth, has_core_ring


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
        What lies beyond the rims.
    bench : float
        Share of bench in its face, 0..1; see `teeth.bench_in_face`.
    radius : float
        Of the outer rim on the bench plane, so that plates near and far compare; working-copy pixels.
    hidden : ndarray of bool, shape (ANGLES,)
        Angles at which another plate lies over a rim.
    """

    outer: Rim
    inner: Rim
    rays: Rays
    outside: Teeth
    inside: Teeth
    bench: float
    radius: float
    hidden: NDArray[np.bool_]

    @property
    def ratio(self) -> float:
        """Inner over outer radius."""
        return self.rays.ratio

    @property
    def teeth(self) -> float:
        """How sure its teeth are, 0 when it has none."""
        return max(t.surety for t in (self.outside, self.inside))

    @property
    def support(self) -> float:
        """Mean share of the two rims that was seen."""
        return (self.outer.coverage + self.inner.coverage) / 2

    @property
    def core_ring(self) -> bool:
        """Whether steel core lies between the face and the teeth."""
        return has_core_ring(self.inside, self.ratio) or has_core_ring(self.outside, 1.0)

    @property
    def worth(self) -> float:
        """How well this face explains its surroundings against other faces on the same rings.

        Rims that are seen and regular teeth speak for it, bench inside it against it; of two that do as well
        the wider. Teeth beyond a regularity of 0.5 say no more.
        """
        return self.support + 1.5 * min(0.5, self.teeth) + (1 - self.ratio) - 0.6 * self.bench

    @property
    def is_plain(self) -> bool:
        """Whether nothing speaks against it, so that other faces on the same rings need not be tried."""
        return self.support > 0.9 and self.teeth > 0.45 and self.bench < 0.1
