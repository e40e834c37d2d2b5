"""What several writers need: names as they are typed, and the moment."""

from collections.abc import Iterable
from datetime import UTC, datetime

from wearview.errors import CallError


def checked_name(name: str) -> str:
    """A name as it can be typed again: no outer blanks, printable, short enough for a line.

    Raises
    ------
    CallError
        When it is none.
    """
    name = name.strip()
    if not name:
        raise CallError("the name", "is empty", "Type one")
    if len(name) > 200 or not name.isprintable():
        raise CallError(name, "cannot be a name", "Use 1 to 200 printable characters")
    return name


def as_kept(name: str, kept: Iterable[str], kind: str) -> str:
    """A name as a teardown has it, typed in capitals or not.

    Raises
    ------
    CallError
        When it has none such; `kind` says of what.
    """
    known = {one.casefold(): one for one in kept}
    if (found := known.get(name.strip().casefold())) is None:
        remedy = f"Known: {', '.join(known.values())}" if known else "There is none so far"
        raise CallError(name, f"is no {kind} of this teardown", remedy)
    return found


def serial_key(serial: str | None) -> str | None:
    """Letters and digits of a serial number, by which it is found however it was spaced."""
    return "".join(c for c in (serial or "").casefold() if c.isalnum()) or None


def now() -> str:
    """This moment, ISO 8601 in UTC."""
    return datetime.now(UTC).isoformat()
