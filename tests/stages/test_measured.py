"""Measured values: out of limit is told, no limit gives no outcome, and no limit comes from the program."""

import re
from pathlib import Path

import pytest

from wearview.errors import CallError
from wearview.record import measured_from, measured_json

WHEN = "2026-01-02T03:04:05+00:00"


def measured(value, unit="in", **more):
    return measured_from("forward clutch clearance", value, unit, "feeler gauge", measured_at=WHEN, **more)


def limit(least=None, most=None):
    return {"least": least, "most": most, "limit_from": "shop note 12"}


def test_without_a_typed_limit_there_is_no_outcome():
    one = measured("0.045")
    assert (one.outcome, one.out_of_limit) == (None, False)
    assert measured_json(one)["outcome"] is None


@pytest.mark.parametrize(
    ("value", "limits", "outcome"),
    [
        ("0.045", limit("0.03", "0.06"), "within the limit"),
        ("0.03", limit("0.03", "0.06"), "within the limit"),
        ("0.06", limit("0.03", "0.06"), "within the limit"),
        ("0.0601", limit("0.03", "0.06"), "out of limit: over"),
        ("0.0299", limit("0.03"), "out of limit: under"),
        ("9", limit("0.03"), "within the limit"),
        ("0.0601", limit(most="0.06"), "out of limit: over"),
        # 3/64 in is 1.190625 mm exactly: floating point would have to be lucky.
        ("3/64", limit(most="1.190625 mm"), "within the limit"),
        ("3/64", limit(most="1.190624 mm"), "out of limit: over"),
        ("0.1", limit("2.54 mm", "2.54 mm"), "within the limit"),
    ],
)
def test_the_outcome_compares_without_rounding(value, limits, outcome):
    assert measured(value, **limits).outcome == outcome


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"most": "0.06"}, "limit from nowhere"),
        ({"most": "0.06", "limit_from": "  "}, "limit from nowhere"),
        ({"limit_from": "a manual"}, "names a source and no limit"),
        (limit("0.06", "0.03"), "wrong way round"),
    ],
)
def test_a_limit_always_says_where_it_is_from(more, says):
    with pytest.raises(CallError, match=says):
        measured("0.045", **more)


def test_a_value_says_what_it_was_measured_with():
    with pytest.raises(CallError, match="names no tool"):
        measured_from("x", "1", "mm", " ", measured_at=WHEN)


def test_json_has_each_length_as_typed_and_in_both_units():
    told = measured_json(measured("3/64", **limit(most="1.2 mm")))
    assert told["value"] == {"number": "3/64", "unit": "in", "mm": 1.190625, "in": 0.046875}
    assert (told["most"]["number"], told["most"]["unit"]) == ("1.2", "mm")
    assert told["least"] is None


def test_the_program_ships_no_limit():
    # Makers' manuals differ by far, so a number in here would be one maker's. Check TH-1.
    root = Path(__file__).parents[2]
    for path in [*root.glob("models/*.toml"), *root.glob("wearview/record/*.py"), root / "wearview/terms.py"]:
        text = path.read_text("utf-8").lower()
        assert not re.search(r"(clearance|thickness|gap)\w*[\"']?\s*[=:]\s*[\"'(\[]?\d", text), path
