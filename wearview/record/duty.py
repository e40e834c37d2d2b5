"""What an element of a unit does, and what a shop therefore expects to see on it."""

from dataclasses import dataclass

from wearview.errors import CallError
from wearview.terms import DIRECTIONS, EXPECTATIONS


@dataclass(frozen=True, slots=True)
class Duty:
    """The work of a clutch, brake or band. None where nobody has stated it.

    Attributes
    ----------
    direction : str or None
        One of `terms.DIRECTIONS`: which way the apply piston pushes.
    plates : int or None
        How many plates the pack has, frictions and steels together.
    applied : str or None
        When it is applied, in the shop's words: "1st to 3rd", "reverse".
    expects : str or None
        One of `terms.EXPECTATIONS`.
    words : str or None
        What the shop expects, in its own words.

    Raises
    ------
    CallError
        When a value is none of these.
    """

    direction: str | None = None
    plates: int | None = None
    applied: str | None = None
    expects: str | None = None
    words: str | None = None

    def __post_init__(self) -> None:
        if self.direction is not None and self.direction not in DIRECTIONS:
            raise CallError(self.direction, "is no apply direction", f"Use one of {', '.join(DIRECTIONS)}")
        if self.plates is not None and not 1 <= self.plates <= 200:
            raise CallError(str(self.plates), "is no plate count", "Use 1 to 200")
        if self.expects is not None and self.expects not in EXPECTATIONS:
            raise CallError(self.expects, "is no expectation", f"Use one of {', '.join(EXPECTATIONS)}")

    @property
    def told(self) -> str | None:
        """The expectation as a sentence, the shop's own words after it."""
        said = [EXPECTATIONS[self.expects]] if self.expects else []
        return "; ".join([*said, *([self.words] if self.words else [])]) or None


# Where a shop may begin; common practice, no source. Every unit has its own, so none is ever assumed.
EXAMPLES = {
    "forward clutch": Duty(applied="every forward range", expects="clean"),
    "direct clutch": Duty(applied="the higher ranges, and often reverse", expects="shift"),
    "overdrive clutch": Duty(applied="the highest range", expects="shift"),
    "intermediate band": Duty(applied="second", expects="shift", words="wear at its apply zones"),
    "low and reverse brake": Duty(applied="reverse, and low when it is selected by hand", expects="seldom"),
    "lock-up clutch": Duty(applied="at steady speed, in the higher ranges", expects="clean"),
}
