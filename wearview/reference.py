"""The clean colour a lining or a steel is compared with."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """Clean lining (or clean steel) of the same material.

    Attributes
    ----------
    source : str
        One of `terms.REFERENCE_SOURCES`.
    file : str or None
        The reference photo as typed.
    lining : str or None
        The named lining.
    lab_median : ndarray, shape (3,), or None
        Median clean colour, CIELAB D65 2 degrees. None when there is no reference.
    spread : float
        Half width of the 90 % interval of the clean colour in Delta E.
    grain, sheen : float
        Of the clean lining, as in `surface.Face`; NaN when unknown.
    wet : bool or None
        Whether the clean lining was photographed wet; None when unknown.
    light_uncertainty : float
        The reference photo's own light, half width of the 90 % interval in Delta E.
    """

    source: str
    file: str | None
    lining: str | None
    lab_median: NDArray[np.float64] | None
    spread: float
    grain: float
    sheen: float
    wet: bool | None
    light_uncertainty: float

    @property
    def relative(self) -> bool:
        """Whether grades against it are relative to the cleanest part only."""
        return self.source == "cleanest part"
