"""How far a unit had run when it was opened, as typed: kilometres or miles, without rounding."""

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from wearview.errors import CallError
from wearview.record.length import decimal_text

# Exact: the international mile is 5280 ft of 0.3048 m. NIST SP 811 (2008), appendix B.8, mile.
KM_PER_MILE = Fraction(1_609_344, 1_000_000)
KM, MILES = MILEAGE_UNITS = ("km", "mi")

# In groups of three a comma or a space is no decimal sign, whoever types it.
_TYPED = re.compile(
    r"\s*(?P<number>\d{1,3}(?:[, ]\d{3}){1,2}|\d{1,7}(?:\.\d{1,3})?)\s*(?P<unit>km|mi|miles?)\s*", re.ASCII
)


@dataclass(frozen=True, slots=True)
class Mileage:
    """A distance of 0 or more: `number` as typed less its separators ("84000"), `unit` "km" or "mi"."""

    number: str
    unit: str

    @property
    def km(self) -> Fraction:
        """In kilometres, exactly."""
        typed = Fraction(self.number)
        return typed * KM_PER_MILE if self.unit == MILES else typed

    @property
    def miles(self) -> Fraction:
        """In miles, exactly."""
        return self.km / KM_PER_MILE

    def __str__(self) -> str:
        return f"{self.number} {self.unit}"

    @property
    def both(self) -> str:
        """As typed, and in the other unit: kilometres to the last digit, miles to a whole one."""
        if self.unit == MILES:
            return f"{self} ({decimal_text(self.km)} km)"
        rounded = round(self.miles)
        return f"{self} ({'' if rounded == self.miles else 'about '}{rounded} mi)"


def parse_mileage(typed: str) -> Mileage:
    """A mileage as typed, with its unit.

    Raises
    ------
    CallError
        When it is none.
    """
    match = _TYPED.fullmatch(typed)
    if match is None:
        raise CallError(typed or "nothing", "is no mileage", "Type a number and km or mi: 84000 km")
    return Mileage(re.sub("[, ]", "", match["number"]), KM if match["unit"] == KM else MILES)


def mileage_json(mileage: Mileage | None) -> dict[str, Any] | None:
    """A mileage as JSON: as typed, and in both units."""
    if mileage is None:
        return None
    return {
        "number": mileage.number,
        "unit": mileage.unit,
        "km": float(mileage.km),
        "mi": float(mileage.miles),
    }
