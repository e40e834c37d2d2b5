"""`Reading`: one measured number with what it rests on, and how to make one from a masked array."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearview import ranks
from wearview.terms import PROBLEMS

MIN_PIXELS = 50  # the contract's floor for a median of a sector or a step


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured value.

    Attributes
    ----------
    value : float
        NaN when it could not be measured; 0 means that we looked and there was none.
    unit : str
        "dE00", "L*", "fraction", "count", "px", "mm", "index 0-100".
    method : str
        Which of several ways, for example "one photo".
    n_pixels : int
        Measured pixels it rests on, after exclusions.
    spread : float
        Half width of the 90 % interval in the same unit; NaN if unknown.
    flags : tuple of str
        Names from `terms.PROBLEMS`; why it is missing or doubtful.

    Raises
    ------
    ValueError
        When a value is missing without a flag, or a flag is not a published problem.
    """

    value: float
    unit: str
    method: str
    n_pixels: int
    spread: float = math.nan
    flags: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if math.isnan(self.value) and not self.flags:
            raise ValueError("a missing reading needs a flag that says why")
        if unknown := [flag for flag in self.flags if flag not in PROBLEMS]:
            raise ValueError(f"not a published problem: {unknown}")

    @property
    def known(self) -> bool:
        """Whether the value was measured."""
        return not math.isnan(self.value)


def missing(unit: str, method: str, *flags: str, n_pixels: int = 0) -> Reading:
    """A reading that could not be taken, with the reasons."""
    return Reading(math.nan, unit, method, n_pixels, math.nan, flags)


def seen_values(values: NDArray[np.floating], mask: NDArray[np.bool_]) -> NDArray[np.floating]:
    """Finite values under the mask, one-dimensional."""
    return values[mask & np.isfinite(values)]


def quantile(
    values: NDArray[np.floating], mask: NDArray[np.bool_], q: float, unit: str, method: str
) -> Reading:
    """The `q` quantile (0..1) of the finite values under `mask`.

    Missing with "too few pixels" under `MIN_PIXELS` values.
    """
    chosen = seen_values(values, mask)
    if chosen.size < MIN_PIXELS:
        return missing(unit, method, "too few pixels", n_pixels=int(chosen.size))
    return Reading(ranks.quantile(chosen, q), unit, method, int(chosen.size))


def share_over(values: NDArray[np.floating], mask: NDArray[np.bool_], limit: float, method: str) -> Reading:
    """The fraction (0..1) of the finite values under `mask` that exceed `limit`."""
    chosen = seen_values(values, mask)
    if chosen.size < MIN_PIXELS:
        return missing("fraction", method, "too few pixels", n_pixels=int(chosen.size))
    return Reading(float((chosen > limit).mean()), "fraction", method, int(chosen.size))
