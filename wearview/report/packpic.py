"""The pack seen from its edge, from the apply piston to the reaction end, with its score profile."""

from dataclasses import dataclass
from typing import Any, ClassVar

from wearview.terms import BAND, FRICTION, REACTION, STEEL

# Widths of a plate's edge in the drawing; a friction plate carries two linings, a reaction plate is thick.
_WIDTH = {FRICTION: 34.0, STEEL: 20.0, REACTION: 46.0}
_UNSEEN_WIDTH = 20.0
_GAP = 10.0
_PISTON, _SNAP_RING = 80.0, 98.0  # room for the two ends and their labels
_BESIDE_PROFILE = 58.0  # room for the scores and their name

_TOP_SCORE = 5.0


@dataclass(frozen=True, slots=True)
class Face:
    """A drawn face: the whole edge of a plate, or one half where its sides were graded apart."""

    x: float
    width: float
    level: int | None


@dataclass(frozen=True, slots=True)
class Slot:
    """A position of the pack: `faces` is empty where no photo shows its plate."""

    position: int
    kind: str | None
    x: float
    width: float
    faces: tuple[Face, ...]

    @property
    def middle(self) -> float:
        """x of its centre line."""
        return self.x + self.width / 2

    @property
    def level(self) -> int | None:
        """The worse side's level; None where it cannot be told."""
        return max((face.level for face in self.faces if face.level is not None), default=None)


@dataclass(frozen=True, slots=True)
class Line:
    """Scores of one kind of plate by position, in drawing units; a missing score has no point."""

    kind: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class PackPicture:
    """Everything that is drawn, in units of an SVG view box."""

    plate_top: ClassVar[float] = 40.0
    plate_height: ClassVar[float] = 120.0
    plates_bottom: ClassVar[float] = 202.0  # below the plates' numbers and the names of the ends
    profile_top: ClassVar[float] = 216.0
    profile_height: ClassVar[float] = 120.0

    width: float
    height: float
    slots: tuple[Slot, ...]
    lines: tuple[Line, ...]
    rules: tuple[tuple[int, float], ...]  # score 0..5 and its y
    kinds: tuple[str, ...]

    @property
    def drawn_height(self) -> float:
        """Height down to what there is to draw: without one score, no profile stands below the plates."""
        return self.height if self.lines else self.plates_bottom

    @property
    def first(self) -> float:
        """Left edge of the first plate."""
        return self.slots[0].x

    @property
    def last(self) -> float:
        """Right edge of the last plate."""
        return self.slots[-1].x + self.slots[-1].width

    @property
    def profile_left(self) -> float:
        """Left edge of the profile with its numbers, where it stands alone."""
        return self.first - _BESIDE_PROFILE

    @property
    def profile_width(self) -> float:
        """Width of the profile where it stands alone, without room for the ends of the pack."""
        return self.last + _GAP - self.profile_left


def pack_picture(parts: list[dict[str, Any]]) -> PackPicture | None:
    """Lay out the drawing of a pack.

    Parameters
    ----------
    parts : list of dict
        Parts of one grading document in position order, apply side first.

    Returns
    -------
    PackPicture or None
        None for bands, and under two positions: there is no row to show.
    """
    plates = [part for part in parts if part["kind"] != BAND]
    by_position: dict[int, list[dict[str, Any]]] = {}
    for part in plates:
        by_position.setdefault(part["position"], []).append(part)
    if len(by_position) < 2:
        return None
    slots = []
    x = _PISTON
    for position in range(1, max(by_position) + 1):
        slot = _slot(position, by_position.get(position, []), x)
        slots.append(slot)
        x += slot.width + _GAP
    kinds = tuple(kind for kind in (FRICTION, STEEL, REACTION) if any(slot.kind == kind for slot in slots))
    lines = tuple(line for kind in kinds if (line := _line(kind, slots, by_position)).points)
    rules = tuple((score, _score_y(score)) for score in range(int(_TOP_SCORE) + 1))
    height = PackPicture.profile_top + PackPicture.profile_height + 26
    return PackPicture(x - _GAP + _SNAP_RING, height, tuple(slots), lines, rules, kinds)


def _slot(position: int, parts: list[dict[str, Any]], x: float) -> Slot:
    if not parts:
        return Slot(position, None, x, _UNSEEN_WIDTH, ())
    kind = parts[0]["kind"]
    width = _WIDTH[kind]
    sided = {part.get("side") for part in parts} == {"apply", "reaction"}
    if sided:
        halves = {"apply": x, "reaction": x + width / 2}
        faces = tuple(Face(left, width / 2, _worst(parts, side)) for side, left in halves.items())
    else:
        faces = (Face(x, width, _worst(parts, None)),)
    return Slot(position, kind, x, width, faces)


def _worst(parts: list[dict[str, Any]], side: str | None) -> int | None:
    levels = [p["grade"]["level"] for p in parts if p["grade"] and side in (None, p.get("side"))]
    return max(levels, default=None)


def _line(kind: str, slots: list[Slot], by_position: dict[int, list[dict[str, Any]]]) -> Line:
    points = []
    for slot in slots:
        scores = [
            part["grade"]["score"]
            for part in by_position.get(slot.position, [])
            if part["kind"] == kind and part["grade"] and part["grade"]["score"] is not None
        ]
        if scores:
            points.append((slot.middle, _score_y(max(scores))))
    return Line(kind, tuple(points))


def _score_y(score: float) -> float:
    return PackPicture.profile_top + PackPicture.profile_height * (1 - score / _TOP_SCORE)
