"""Values that a technician measured with a tool, beside the limit that he took from somewhere."""

from dataclasses import asdict, dataclass
from typing import Any

from wearview.errors import CallError
from wearview.record.inspection import AttachedPhoto
from wearview.record.length import Length, parse_length
from wearview.terms import LENGTH_UNITS

WITHIN, UNDER, OVER = "within the limit", "out of limit: under", "out of limit: over"


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured length. The program knows no limit of its own: makers' manuals differ by far.

    Attributes
    ----------
    what : str
        What was measured, in the shop's words: "forward clutch clearance".
    value : Length
    tool : str
        What it was measured with.
    least, most : Length or None
        The limits as typed; a value that equals one is within.
    limit_from : str or None
        Where the limits are from; never None where there is one.
    by, note : str or None
    measured_at : str
        ISO 8601 in UTC.
    photos : tuple of AttachedPhoto

    Raises
    ------
    CallError
        When a limit has no source, a source no limit, or the limits are the wrong way round.
    """

    what: str
    value: Length
    tool: str
    least: Length | None
    most: Length | None
    limit_from: str | None
    by: str | None
    note: str | None
    measured_at: str
    photos: tuple[AttachedPhoto, ...] = ()

    def __post_init__(self) -> None:
        if not self.tool.strip():
            raise CallError(self.what, "names no tool", "Say what it was measured with")
        has_limit = self.least is not None or self.most is not None
        if has_limit and not (self.limit_from or "").strip():
            raise CallError(
                self.what, "has a limit from nowhere", "Say where it is from, as the manual and its page"
            )
        if self.limit_from and not has_limit:
            raise CallError(self.what, "names a source and no limit", "Give the least, the most or both")
        if self.least is not None and self.most is not None and self.least.mm > self.most.mm:
            raise CallError(self.what, "has its limits the wrong way round", "Give the smaller one as least")

    @property
    def outcome(self) -> str | None:
        """`WITHIN`, `UNDER` or `OVER`; None where nobody typed a limit."""
        if self.least is not None and self.value.mm < self.least.mm:
            return UNDER
        if self.most is not None and self.value.mm > self.most.mm:
            return OVER
        return WITHIN if self.limit_from else None

    @property
    def out_of_limit(self) -> bool:
        """Whether it is under the least or over the most."""
        return self.outcome in (UNDER, OVER)

    @property
    def limit_words(self) -> str | None:
        """The limit in words; None without one."""
        if self.least is not None and self.most is not None:
            return f"{self.least} to {self.most}"
        if self.least is not None:
            return f"at least {self.least}"
        return None if self.most is None else f"at most {self.most}"


def measured_from(
    what: str,
    value: str,
    unit: str,
    tool: str,
    *,
    least: str | None = None,
    most: str | None = None,
    limit_from: str | None = None,
    by: str | None = None,
    note: str | None = None,
    measured_at: str,
    photos: tuple[AttachedPhoto, ...] = (),
) -> Measured:
    """A measured value as typed. Limits are in the value's unit unless they name their own.

    Raises
    ------
    CallError
        When a number or a unit is none, or as for `Measured`.
    """
    if unit not in LENGTH_UNITS:
        raise CallError(unit, "is no unit", f"Use {' or '.join(LENGTH_UNITS)}")
    length = parse_length(value, unit)
    under, over = (parse_length(typed, length.unit) if typed else None for typed in (least, most))
    return Measured(
        what, length, tool, under, over, limit_from or None, by or None, note or None, measured_at, photos
    )


def measured_json(measured: Measured) -> dict[str, Any]:
    """A measured value as JSON: each length as typed, in both units, and the outcome or null."""
    return {
        "what": measured.what,
        "value": _length_json(measured.value),
        "tool": measured.tool,
        "least": _length_json(measured.least),
        "most": _length_json(measured.most),
        "limit_from": measured.limit_from,
        "outcome": measured.outcome,
        "by": measured.by,
        "note": measured.note,
        "measured_at": measured.measured_at,
        "photos": [asdict(photo) for photo in measured.photos],
    }


def _length_json(length: Length | None) -> dict[str, Any] | None:
    if length is None:
        return None
    return {
        "number": length.number,
        "unit": length.unit,
        "mm": float(length.mm),
        "in": float(length.inches),
    }
