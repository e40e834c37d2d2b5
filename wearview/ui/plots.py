"""What the agreement page draws: kappa over time for each technician, levels beside heat levels, and where in
their packs the plates of one lining showed heat."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from wearview.agreement import LEAST_PAIRS, QUARTER, TECHNICIAN, Agreement, Counted
from wearview.record import Followed
from wearview.report.templates import templates
from wearview.report.words import place_words

_LEFT, _RIGHT, _TOP, _HEIGHT = 60, 20, 24, 220  # room for the scale, behind, above; drawn height of 0 to 1
_STEP, _FEWEST = 90, 3  # between quarters; room for as many, so that two names stand beside each other
# Names in a row and the room of each: above the drawing, as a phone shows its left part first.
_NAMES, _NAME = 2, (155, 24)
_CELL = 64
_DASHES = ("", "8 4", "2 4", "10 4 2 4")


@dataclass(frozen=True, slots=True)
class Spot:
    """One kappa: where it stands, and where its 95 % interval ends."""

    x: float
    y: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Track:
    """One technician's kappas, oldest first."""

    name: str
    dash: str
    spots: tuple[Spot, ...]


@dataclass(frozen=True, slots=True)
class Drawing:
    """An SVG and its width in its own units, of which letters are 14 high."""

    svg: str
    width: int


def kappa_drawing(counted: Counted) -> Drawing | None:
    """Kappa by quarter, a line for each technician; None where nobody has enough parts in a quarter."""
    everybody, people = counted.by(QUARTER), list(counted.by(TECHNICIAN))
    found = {"all": everybody} if len(people) != 1 else {}
    found |= {person: counted.by_quarter_of(person) for person in people}
    quarters = list(everybody)
    drawn_rows = {
        name: rows for name, rows in found.items() if any(a.kappa is not None for a in rows.values())
    }
    if not drawn_rows:
        return None
    tracks = [
        Track(name, _DASHES[n % len(_DASHES)], tuple(_spots(rows, quarters, _beside(n, len(drawn_rows)))))
        for n, (name, rows) in enumerate(drawn_rows.items())
    ]
    ticks = [(quarter, _LEFT + _STEP * (n + 0.5)) for n, quarter in enumerate(quarters)]
    width = _LEFT + _STEP * max(len(quarters), _FEWEST) + _RIGHT
    scale = [(label, _y(value)) for label, value in (("0", 0.0), ("0.5", 0.5), ("1", 1.0))]
    across, down = _NAME
    names = [(n % _NAMES * across, n // _NAMES * down) for n in range(len(tracks))]
    above = down * -(-len(tracks) // _NAMES)
    drawn: str = _pieces().kappa(tracks, names, above, ticks, scale, width, _TOP + _HEIGHT + 40, _LEFT)
    return Drawing(drawn.strip(), width)


def kappa_words(counted: Counted) -> str:
    """The same for those who cannot see it."""
    told = [f"{q}: {a.kappa:.2f}" for q, a in counted.by(QUARTER).items() if a.kappa is not None]
    return f"Kappa by quarter, all technicians: {', '.join(told) or f'none from {LEAST_PAIRS} parts on'}."


def levels_svg(found: Agreement) -> str:
    """How many parts had each pair of levels, as discs whose area is their number."""
    most = max(1, int(found.counts.max()))
    cells = [
        (
            _LEFT + _CELL * (seen + 0.5),
            _TOP + _CELL * (4 - level + 0.5),
            0.46 * _CELL * (int(n) / most) ** 0.5,
            int(n),
            level == seen,
        )
        for level, row in enumerate(found.counts)
        for seen, n in enumerate(row)
        if n
    ]
    drawn: str = _pieces().levels(cells, _CELL, _LEFT, _TOP)
    return drawn.strip()


def heat_svg(found: Followed) -> str | None:
    """How often plates of a lining were hot, a bar for each place from the reaction end; None where no place
    has enough plates."""
    shown = [(place, heat) for place, heat in found.by_place.items() if heat.share is not None]
    if not shown:
        return None
    bars = [
        (_LEFT + _STEP * (n + 0.5), _y(heat.share or 0.0), place_words(place), f"{heat.hot} of {heat.n}")
        for n, (place, heat) in enumerate(shown)
    ]
    scale = [(label, _y(value)) for label, value in (("0 %", 0.0), ("50 %", 0.5), ("100 %", 1.0))]
    width = _LEFT + _STEP * max(len(bars), _FEWEST) + 20
    drawn: str = _pieces().heat(bars, scale, width, _TOP + _HEIGHT, _LEFT)
    return drawn.strip()


def heat_words(found: Followed) -> str:
    """The same for those who cannot see it."""
    told = [
        f"{place_words(place)}: {heat.hot} of {heat.n} hot"
        for place, heat in found.by_place.items()
        if heat.share is not None
    ]
    return f"Friction plates of {found.lining} by their place from the reaction end. {', '.join(told)}."


def _beside(n: int, count: int) -> float:
    """How far a technician's spots stand beside the middle of their quarter, so that none hides another."""
    return (n - (count - 1) / 2) * min(14.0, 60 / count)


def _spots(rows: dict[str, Agreement], quarters: Sequence[str], beside: float) -> list[Spot]:
    return [
        Spot(_LEFT + _STEP * (n + 0.5) + beside, _y(a.kappa), _y(a.interval[0]), _y(a.interval[1]))
        for n, quarter in enumerate(quarters)
        if (a := rows.get(quarter)) is not None and a.kappa is not None and a.interval is not None
    ]


def _y(kappa: float) -> float:
    """Under 0 there is less agreement than by chance; the drawing ends there."""
    return round(_TOP + _HEIGHT * (1 - max(0.0, kappa)), 1)


def _pieces() -> Any:
    return templates().get_template("agreement.svg").module
