"""Inch and millimetre: 1 in = 25.4 mm exactly (NIST SP 811, 2008, appendix B.8; the agreement of 1959)."""

from fractions import Fraction

import pytest

from wearview.errors import CallError
from wearview.record import Length, parse_length
from wearview.record.length import decimal_text

# Drill sizes in fractions of an inch and in millimetres, as machinists' tables print them to the last digit
# (Machinery's Handbook, table of decimal equivalents; from memory).
RULE = {
    "1/64": "0.396875",
    "1/32": "0.79375",
    "3/64": "1.190625",
    "1/16": "1.5875",
    "1/2": "12.7",
    "1": "25.4",
}


@pytest.mark.parametrize(("inch", "mm"), RULE.items())
def test_a_fraction_of_an_inch_is_what_machinists_tables_print(inch, mm):
    assert decimal_text(parse_length(inch, "in").mm) == mm
    assert parse_length(mm, "mm").inches == Fraction(inch)


@pytest.mark.parametrize("number", ["0.0028", "0.0059", "0.118", "1 3/64", "17", ".05", "0"])
def test_nothing_is_rounded_on_the_way_to_millimetres_and_back(number):
    length = parse_length(number, "in")
    assert parse_length(decimal_text(length.mm), "mm").inches == length.exact


def test_a_unit_typed_with_the_number_goes_before_the_one_given():
    assert parse_length("0.76 mm", "in") == Length("0.76", "mm")
    assert parse_length("3/64in", "mm") == Length("3/64", "in")


def test_both_units_are_shown_and_a_rounded_one_says_so():
    assert Length("3/64", "in").both == "3/64 in (1.190625 mm)"
    assert Length("2.1", "mm").both == "2.1 mm (about 0.0827 in)"
    assert Length("25.4", "mm").both == "25.4 mm (1.0000 in)"
    assert Length("0", "in").both == "0 in (0 mm)"


@pytest.mark.parametrize(
    "typed", ["", "-1", "0,3", "1e3", "1/0", "1/3", "0.5/2", "nan", "1 mm 2", "٣", "1 2", "5 cm"]
)
def test_what_is_no_length_is_refused_with_a_remedy(typed):
    with pytest.raises(CallError, match="is no length"):
        parse_length(typed, "mm")
