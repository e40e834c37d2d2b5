"""Lengths as they are typed at the bench, inch or millimetre, without rounding."""

import re
from dataclasses import dataclass
from fractions import Fraction

from wearview.errors import CallError
from wearview.terms import INCH

# Exact by definition: NIST SP 811 (2008), appendix B.8, inch.
MM_PER_INCH = Fraction(254, 10)

_REMEDY = "Type a number as 0.045 or 1 3/64, with in or mm after it where the unit is another"
_DECIMAL = r"\d{1,6}(?:\.\d{1,9})?|\.\d{1,9}"
_TYPED = re.compile(
    rf"\s*(?:(?P<decimal>{_DECIMAL})|(?:(?P<whole>\d{{1,6}})\s+)?(?P<top>\d{{1,4}})/(?P<bottom>\d{{1,4}}))"
    r"\s*(?P<unit>in|mm)?\s*",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Length:
    """A length of 0 or more.

    Attributes
    ----------
    number : str
        As typed: a decimal number ("0.045") or a fraction ("3/64", "1 3/64").
    unit : str
        "in" or "mm".
    """

    number: str
    unit: str

    @property
    def exact(self) -> Fraction:
        """The number, in its own unit."""
        return sum((Fraction(word) for word in self.number.split()), Fraction(0))

    @property
    def mm(self) -> Fraction:
        """In millimetres, exactly."""
        return self.exact * MM_PER_INCH if self.unit == INCH else self.exact

    @property
    def inches(self) -> Fraction:
        """In inches, exactly."""
        return self.exact if self.unit == INCH else self.exact / MM_PER_INCH

    def __str__(self) -> str:
        return f"{self.number} {self.unit}"

    @property
    def both(self) -> str:
        """As typed, and in the other unit: millimetres to the last digit, inches to a ten-thousandth."""
        if self.unit == INCH:
            return f"{self} ({decimal_text(self.mm)} mm)"
        rounded = round(self.inches, 4)
        return f"{self} ({'' if rounded == self.inches else 'about '}{float(rounded):.4f} in)"


def parse_length(typed: str, unit: str) -> Length:
    """A length as typed, in `unit` unless it names its own.

    Raises
    ------
    CallError
        When it is none. A fraction's denominator must be a power of two, as on a rule.
    """
    match = _TYPED.fullmatch(typed)
    bottom = int(match["bottom"] or 1) if match else 0
    if match is None or bottom < 1 or bottom & (bottom - 1):
        raise CallError(typed or "nothing", "is no length", _REMEDY)
    number = match["decimal"] or " ".join(filter(None, (match["whole"], f"{match['top']}/{match['bottom']}")))
    return Length(f"0{number}" if number.startswith(".") else number, match["unit"] or unit)


def decimal_text(value: Fraction) -> str:
    """A fraction whose decimal expansion ends, with all its digits."""
    places = 0
    while (value * 10**places).denominator != 1:
        places += 1
    digits = str(value * 10**places).rjust(places + 1, "0")
    return f"{digits[:-places]}.{digits[-places:]}" if places else digits
