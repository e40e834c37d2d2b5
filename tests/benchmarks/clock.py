"""Time on the wall and processor time: on a busy machine only the second says what a piece of work takes."""

from __future__ import annotations

import statistics
import time
from collections.abc import Iterable
from typing import NamedTuple


class Seconds(NamedTuple):
    """Seconds on the wall and of the processor, of this process and all its threads."""

    wall: float
    cpu: float

    def since(self, start: Seconds) -> Seconds:
        """From `start` to here."""
        return Seconds(self.wall - start.wall, self.cpu - start.cpu)

    def plus(self, other: Seconds) -> Seconds:
        """Both together."""
        return Seconds(self.wall + other.wall, self.cpu + other.cpu)


NONE = Seconds(0.0, 0.0)


def now() -> Seconds:
    """What the clocks show."""
    return Seconds(time.perf_counter(), time.process_time())


def medians(each: Iterable[Seconds]) -> Seconds:
    """The median of either clock."""
    walls, cpus = zip(*each, strict=True)
    return Seconds(statistics.median(walls), statistics.median(cpus))


def row(label: str, spent: Seconds, floor: Seconds, asked: str = "") -> str:
    """A line: processor time, how many times the floor's that is, and time on the wall."""
    times = f"{spent.cpu / floor.cpu:8.2f} x" if floor.cpu else ""
    return f"{label:36}{spent.cpu * 1000:8.0f} ms {times:10}{spent.wall * 1000:9.0f} ms   {asked}".rstrip()


HEAD = f"{'':36}{'processor':>11}{'floors':>10}{'wall':>12}"
