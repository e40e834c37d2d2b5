"""A figure of the table: mean and worst of some values, or a share of some cases."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Figure:
    """Mean and worst of n values; NaN where n is 0."""

    mean: float
    worst: float
    n: int


def figure(values: Iterable[float | None], worst: Callable[[list[float]], float] = max) -> Figure:
    """Figure of the values that are there; ``worst`` is max for errors, min for scores."""
    known = [float(value) for value in values if value is not None]
    return Figure(float(np.mean(known)), worst(known), len(known)) if known else Figure(math.nan, math.nan, 0)


@dataclass(frozen=True, slots=True)
class Share:
    """k of n."""

    k: int
    n: int

    @property
    def value(self) -> float:
        """k / n; NaN of nothing."""
        return self.k / self.n if self.n else math.nan


def share(held: Iterable[bool]) -> Share:
    """How many of some statements hold."""
    listed = [bool(one) for one in held]
    return Share(sum(listed), len(listed))


def shares(names: Sequence[str], held: Sequence[bool]) -> dict[str, Share]:
    """How often each name held, in alphabetical order."""
    return {
        name: share(h for n, h in zip(names, held, strict=True) if n == name) for name in sorted(set(names))
    }
