"""Graded parts with measurements and verdicts, findings and measured values, as plain CSV."""

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

from wearview.files import base_name
from wearview.record import (
    PACK,
    CheckLine,
    Element,
    Measured,
    PartLine,
    Teardown,
    Verdict,
    check_lines,
    measured_json,
    part_lines,
)
from wearview.record.length import decimal_text
from wearview.terms import LINED_KINDS, TINTS

_SHADES = (
    "delta_e00_median",
    "delta_e00_p90",
    "delta_l_median",
    "area_over_5",
    "area_over_10",
    "area_over_20",
    "area_char",
)

# What spreadsheets take for the start of a formula, in full width too (OWASP, CSV Injection; from memory).
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")

COLUMNS = (
    "teardown",
    "element",
    "target",
    "kind",
    "level",
    "grade",
    "compared_with_cleanest_only",
    "score",
    *_SHADES,
    "glazing_index",
    *(f"tint_{name}" for name in TINTS),
    "hot_spots",
    "hot_spot_area",
    "problems",
    "verdict",
    "verdict_heat",
    "verdict_reason",
    "verdict_by",
    "verdict_note",
    "verdict_at",
    "verdicts_given",
    "photo",
    "photo_sha256",
    "part_id",
    "program",
    "rules",
    "graded_at",
    "compared_with",
)


FOUND_COLUMNS = ("teardown", "item", "on_checklist", "state", "note", "by", "said_at", "photo_sha256")
MEASURED_COLUMNS = (
    "teardown",
    "what",
    "value",
    "unit",
    "mm",
    "in",
    "tool",
    "least",
    "most",
    "limit_from",
    "outcome",
    "by",
    "note",
    "measured_at",
    "photo_sha256",
)


def findings_csv(teardown: Teardown) -> str:
    """CSV text with one row for each item of the checklist, then one for each found beside it."""
    return _csv(
        FOUND_COLUMNS, teardown, map(_found_row, check_lines(teardown.checklist, teardown.inspections))
    )


def measured_csv(teardown: Teardown) -> str:
    """CSV text with one row for each measured value, in both units; no limit, no outcome."""
    return _csv(MEASURED_COLUMNS, teardown, map(_measured_row, teardown.measured))


def parts_csv(teardown: Teardown) -> str:
    """CSV text with one row for each part of every newest grading, then one for each pack or named part
    judged.

    What was not measured is an empty cell, never 0. A text that a spreadsheet would take for a formula is
    preceded by an apostrophe.
    """
    rows = ({"element": element.name, **row} for element in teardown.elements for row in _rows(element))
    return _csv(COLUMNS, teardown, rows)


def _csv(columns: tuple[str, ...], teardown: Teardown, rows: Iterable[dict[str, Any]]) -> str:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\r\n")  # RFC 4180
    writer.writeheader()
    for row in rows:
        cells = {"teardown": teardown.name, **row}
        writer.writerow({name: _cell(value) for name, value in cells.items()})
    return out.getvalue()


def _found_row(line: CheckLine) -> dict[str, Any]:
    said = line.said
    row = {"item": line.item, "on_checklist": "yes" if line.listed else "no", "state": line.state}
    if said is None:
        return row
    photos = " ".join(photo.sha256 for photo in said.photos)
    return row | {"note": said.note, "by": said.by, "said_at": said.said_at, "photo_sha256": photos}


def _measured_row(one: Measured) -> dict[str, Any]:
    told = measured_json(one)
    value = told.pop("value")
    told["photo_sha256"] = " ".join(photo["sha256"] for photo in told.pop("photos"))
    number = decimal_text(one.value.exact)  # a spreadsheet takes a fraction for a date
    limits = {name: getattr(one, name) and str(getattr(one, name)) for name in ("least", "most")}
    return {
        **told,
        **limits,
        "value": number,
        **{unit: value[unit] for unit in ("unit", "mm", "in")},
    }


def _rows(element: Element) -> Iterator[dict[str, Any]]:
    for line in part_lines(element):
        yield _part_row(element, line)
    if element.pack_verdicts:
        yield {"target": PACK, **_verdict_cells(element.pack_verdicts)}
    for name, given in element.named_verdicts.items():
        yield {"target": name, **_verdict_cells(given)}


def _part_row(element: Element, line: PartLine) -> dict[str, Any]:
    assert element.latest is not None  # a line comes from the newest grading
    document, part = element.latest.document, line.part
    grade = part["grade"] or {}
    shades = part["discoloration"] or {}
    tint = part["heat_tint"] or {"area": {}, "hot_spots": {}}
    return {
        "target": line.label,
        "kind": part["kind"],
        "level": grade.get("level"),
        "grade": grade.get("name"),
        "compared_with_cleanest_only": {True: "yes", False: "no", None: None}[grade.get("relative")],
        "score": grade.get("score"),
        **{name: shades.get(name) for name in _SHADES},
        "glazing_index": (part["glazing"] or {}).get("index"),
        **{f"tint_{name}": share for name, share in tint["area"].items()},
        "hot_spots": tint["hot_spots"].get("count"),
        "hot_spot_area": tint["hot_spots"].get("area"),
        "problems": "; ".join(part["problems"]),
        **_verdict_cells(line.verdicts),
        "photo": base_name(line.photo["file"]),
        "photo_sha256": line.photo["sha256"],
        "part_id": part["id"],
        "program": document["program"]["version"],
        "rules": document["rules"]["id"],
        "graded_at": element.latest.graded_at,
        "compared_with": _compared_with(document, part),
    }


def _compared_with(document: dict[str, Any], part: dict[str, Any]) -> str | None:
    """The clean lining that a part was compared with; None for a steel and where there was none."""
    reference = part.get("reference") or document["reference"]
    if part["kind"] not in LINED_KINDS or reference["source"] == "none":
        return None
    name = reference["lining"] or (reference["file"] and base_name(reference["file"]))
    return str(name or reference["source"])


def _verdict_cells(given: tuple[Verdict, ...]) -> dict[str, Any]:
    if not given:
        return {"verdicts_given": 0}
    last = given[-1]
    return {
        "verdict": last.decision,
        "verdict_heat": last.heat,
        "verdict_reason": last.reason,
        "verdict_by": last.by,
        "verdict_note": last.note,
        "verdict_at": last.given_at,
        "verdicts_given": len(given),
    }


def _cell(value: Any) -> Any:
    """A number as it is, None as an empty cell, and a text that begins like a formula made plain text."""
    if isinstance(value, str) and value.lstrip(" ").startswith(_FORMULA_STARTS):
        return "'" + value
    return "" if value is None else value
