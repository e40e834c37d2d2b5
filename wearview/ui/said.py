"""What a person put right in one photo, as it is kept in a tray."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from typing import Any

Point = tuple[float, float]
Points = tuple[Point, ...]
RIMS, BAND, NO_PART, AS_FOUND = PUT_RIGHT = ("rims", "band", "no part", "as found")
_PLACES = 32  # along a band, to see whether another lies there


@dataclass(frozen=True, slots=True)
class Said:
    """What a person put right in one photo; points are x and y in pixels of the upright photo.

    Attributes
    ----------
    rims : tuple of (outer, inner)
        Points on the two rims of each plate that he set.
    no_parts : tuple of point
        The middle of each thing that is no part, of a band a place on it.
    bands : tuple of (one, other)
        Points along the two long edges of each band's lining that he set, from end to end.
    """

    rims: tuple[tuple[Points, Points], ...] = ()
    no_parts: Points = ()
    bands: tuple[tuple[Points, Points], ...] = ()

    def with_rims(self, outer: Points, inner: Points) -> "Said":
        """The same with a plate set anew; what was said of its place before no longer holds."""
        clear = self._without(_middle(outer), _reach(outer))
        return replace(clear, rims=(*clear.rims, (outer, inner)))

    def with_band(self, one: Points, other: Points) -> "Said":
        """The same with a band set anew; what was said of its place before no longer holds."""
        kept = tuple(band for band in self.bands if not _lies_on(band, (one, other)))
        return replace(self, bands=(*kept, (one, other)))

    def without_part(self, middle: Point) -> "Said":
        """The same with the thing at a place being no part."""
        reach = max((_reach(outer) for outer, _ in self.rims), default=0.0)
        kept = tuple(band for band in self.bands if not _holds(band, middle))
        return replace(self._without(middle, reach), no_parts=(*self.no_parts, middle), bands=kept)

    def _without(self, middle: Point, reach: float) -> "Said":
        return replace(
            self,
            rims=tuple(rims for rims in self.rims if math.dist(_middle(rims[0]), middle) > reach / 2),
            no_parts=tuple(point for point in self.no_parts if math.dist(point, middle) > reach / 2),
        )

    @property
    def told(self) -> dict[str, Any]:
        """What was said, in plain lists. Without bands as it was before they could be set: what was graded
        then is not graded again."""
        told = asdict(self)
        return told if self.bands else {name: told[name] for name in ("rims", "no_parts")}


def put_right(before: Said, what: str, said: Mapping[str, Any]) -> Said:
    """What holds of a photo after one more thing was said of it; `what` is one of `PUT_RIGHT`."""
    if what == RIMS:
        return before.with_rims(_points(said["outer"]), _points(said["inner"]))
    if what == BAND:
        return before.with_band(*map(_points, said["edges"]))
    return before.without_part(tuple(said["at"])) if what == NO_PART else Said()


def _points(listed: list[list[float]]) -> Points:
    return tuple((x, y) for x, y in listed)


def _middle(points: Points) -> Point:
    return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)


def _reach(points: Points) -> float:
    """About the radius of a rim."""
    middle = _middle(points)
    return sum(math.dist(point, middle) for point in points) / len(points)


def _lies_on(band: tuple[Points, Points], other: tuple[Points, Points]) -> bool:
    """Whether a band lies where another one does: they are nearer to each other than they are wide."""
    return any(_holds(band, point) for point in _middles(other))


def _holds(band: tuple[Points, Points], point: Point) -> bool:
    """Whether a place is nearer to the middle of a band than the band is wide to one side."""
    near, far = band
    width = min(math.dist(one, other) for one in near for other in far)
    return min(math.dist(point, middle) for middle in _middles(band)) < width / 2


def _middles(band: tuple[Points, Points]) -> list[Point]:
    """Places along the middle of a band's lining."""
    one, other = band
    if math.dist(one[0], other[0]) > math.dist(one[0], other[-1]):
        other = other[::-1]
    return [_middle((_along(one, n / _PLACES), _along(other, n / _PLACES))) for n in range(_PLACES + 1)]


def _along(points: Points, share: float) -> Point:
    """The place at a share of the way along a line of points."""
    whole = sum(math.dist(*pair) for pair in pairwise(points))
    left = share * whole
    for (x, y), (to_x, to_y) in pairwise(points):
        step = math.dist((x, y), (to_x, to_y))
        if left <= step and step:
            return x + (to_x - x) * left / step, y + (to_y - y) * left / step
        left -= step
    return points[-1]
