"""The contract's document out of what one call found."""

import math
from dataclasses import asdict
from typing import Any

import cv2
import numpy as np

import wearview
from wearview.lining import LiningReadings
from wearview.pack import Pack
from wearview.parts import Ellipse, Part
from wearview.reading import Reading
from wearview.record.document import CONTRACT, Document
from wearview.record.graded import Graded, GradedPart, GradedPhoto
from wearview.reference import DEMO, Reference
from wearview.settings import Settings
from wearview.shots import Shots
from wearview.steel import SteelReadings
from wearview.terms import PROBLEMS, TINTS


def build_document(graded: Graded, settings: Settings) -> Document:
    """The grading document of one call.

    Parameters
    ----------
    graded : Graded
    settings : Settings
        The settings it was graded with.
    """
    reference = _reference(graded.reference)
    photos = [_photo(photo, reference) for photo in graded.photos]
    if graded.reference.lining is not None and graded.reference.lining.startswith(DEMO):
        for photo in photos:
            photo["quality"]["problems"].append("demo lining")
    return {
        "contract": CONTRACT,
        "program": {"name": "wearview", "version": wearview.__version__},
        "rules": {"id": settings.rules.id, "sha256": settings.rules.sha256},
        "reference": reference,
        "photos": photos,
        "unread": [
            {"file": e.subject, "problem": f"{e.problem}. {e.remedy}.".replace(". .", ".")}
            for e in graded.unread
        ],
        "pack": None if graded.pack is None else _pack(graded.pack),
    }


def _number(value: float | None, digits: int = 3) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), digits)


def _value(reading: Reading, digits: int = 3) -> float | None:
    return _number(reading.value, digits)


def _reference(reference: Reference) -> dict[str, Any]:
    lab = None if reference.lab_median is None else [round(float(v), 2) for v in reference.lab_median]
    return {"source": reference.source, "file": reference.file, "lining": reference.lining, "lab_median": lab}


def _photo(photo: GradedPhoto, reference: dict[str, Any]) -> dict[str, Any]:
    quality, second = photo.quality, photo.second_light
    return {
        "file": photo.file,
        "sha256": photo.sha256,
        "width": photo.width,
        "height": photo.height,
        "taken_at": photo.taken_at,
        "mm_per_px": _number(photo.mm_per_px, 5),
        "quality": {
            "gradeable": quality.gradeable and bool(photo.parts),
            "problems": list(photo.problems),
            "median_luminance": _number(quality.median_luminance, 4),
            "clipped": _number(quality.clipped, 4),
            "dark": _number(quality.dark, 4),
            "edge_width": _number(quality.edge_width, 2),
        },
        "light": _light(photo),
        **({} if second is None else {"second_light": asdict(second)}),
        "parts": [_part(part, reference) for part in photo.parts],
    }


def _light(photo: GradedPhoto) -> dict[str, Any]:
    light = photo.light
    entry: dict[str, Any] = {
        "method": "none" if light is None else light.method,
        "uncertainty": _number(photo.light_uncertainty, 2),
    }
    if light is not None and light.known is not None:
        known = light.known
        entry |= {"residual": _number(known.residual, 2), "squares": {"used": known.used, "of": known.of}}
    return entry


def _part(graded: GradedPart, reference: dict[str, Any]) -> dict[str, Any]:
    part = graded.part
    entry: dict[str, Any] = {
        "id": graded.id,
        "position": graded.position,
        "kind": part.kind,
        "kind_confidence": round(part.kind_confidence, 3),
        "outline": {"outer": _ellipse(part.outer), "inner": _ellipse(part.inner), "polygon": _polygon(part)},
        "gradeable": not any(PROBLEMS[p].refuses for p in graded.problems),
        "problems": list(graded.problems),
        "discoloration": None if graded.lining is None else _discoloration(graded.lining),
        "glazing": None if graded.lining is None else _glazing(graded.lining),
        "heat_tint": None if graded.steel is None else _heat_tint(graded.steel),
        "grade": None,
    }
    grade = graded.grade
    if grade is not None and grade.level is not None:
        assert grade.probability is not None
        entry["grade"] = {
            "level": grade.level,
            "name": grade.name,
            "relative": grade.relative,
            "score": _number(grade.score),
            "probability": [round(p, 4) for p in grade.probability],
            "because": list(grade.because),
        }
    elif grade is not None:
        entry["ungraded_because"] = list(grade.because)
        entry["remedies"] = list(grade.remedies)
    if part.outline_stated:
        entry["outline"]["stated"] = True
    if graded.side is not None:
        entry["side"] = graded.side
    if graded.shot_of is not None:
        entry["shot_of"] = graded.shot_of
    if graded.shots is not None:
        entry["shots"] = _shots(graded.shots)
    if graded.chosen is not None:
        own = _reference(graded.chosen.reference)
        if own != reference:
            entry["reference"] = own
        if (found := graded.chosen.recognised) is not None:
            entry["lining"] = {
                "name": None if found.lining is None else found.lining.lining,
                "probability": round(found.probability, 3),
                "fits": list(found.fits),
            }
    return entry


def _shots(shots: Shots) -> dict[str, Any]:
    digits = 3 if shots.unit == "dE00" else 4
    return {
        "ids": list(shots.ids),
        "delta_e00_median" if shots.unit == "dE00" else "tinted": [_number(v, digits) for v in shots.values],
        "spread": _number(shots.spread, digits),
        "expected": _number(shots.expected, digits),
        "agree": shots.agree,
    }


def _ellipse(ellipse: Ellipse | None) -> dict[str, float] | None:
    if ellipse is None:
        return None
    rounded = {name: round(float(value), 2) for name, value in asdict(ellipse).items()}
    return rounded | {"angle_deg": rounded["angle_deg"] % 180}


def _polygon(part: Part) -> list[list[float]]:
    """The largest visible piece's outline in full-size pixels."""
    mask = np.pad(part.part_mask.astype(np.uint8), 1)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    largest = max(contours, key=cv2.contourArea, default=None)
    if largest is None or len(largest) < 3:
        return [[float(part.origin[0]), float(part.origin[1])]] * 3
    close = cv2.approxPolyDP(largest, 0.7, True)
    points = (close if len(close) >= 3 else largest)[:, 0, :] - 1 + np.array(part.origin)
    return [[round(float(v), 1) for v in point] for point in (points + 0.5) * part.scale - 0.5]


def _discoloration(readings: LiningReadings) -> dict[str, Any] | None:
    if not readings.delta_e00_median.known:
        return None
    names = ("area_over_5", "area_over_10", "area_over_20", "area_char")
    return {
        "delta_e00_median": _value(readings.delta_e00_median),
        "delta_e00_p90": _value(readings.delta_e00_p90),
        "delta_l_median": _value(readings.delta_l_median),
        **{name: _value(area, 4) for name, area in zip(names, readings.areas, strict=True)},
        "radial_delta_l": [_value(step, 2) for step in readings.radial_delta_l],
        "angular_delta_l": [_value(step, 2) for step in readings.angular_delta_l],
        "gradient": {
            "radial": _value(readings.gradient_radial, 2),
            "angular": _value(readings.gradient_angular, 2),
        },
        "uncertainty": _number(readings.uncertainty, 2),
    }


def _glazing(readings: LiningReadings) -> dict[str, Any] | None:
    if not readings.glazing.known:
        return None
    return {"index": _value(readings.glazing, 1), "method": readings.glazing.method}


def _heat_tint(readings: SteelReadings) -> dict[str, Any] | None:
    if not all(area.known for area in readings.areas):
        return None
    spots = readings.hot_spots
    return {
        "area": {tint: _value(area, 4) for tint, area in zip(TINTS, readings.areas, strict=True)},
        "hot_spots": {
            "count": int(spots.count.value),
            "area": _value(spots.area, 4),
            "angles_deg": [round(angle % 360, 1) % 360 for angle in spots.angles_deg],
        },
    }


def _pack(pack: Pack) -> dict[str, Any]:
    return {
        "order": list(pack.order),
        "trend": {
            "slope_per_position": _number(pack.trend.slope_per_position),
            "kendall_tau": _number(pack.trend.kendall_tau, 4),
            "p_value": _number(pack.trend.p_value, 5),
        },
        "pattern": pack.pattern,
        "near_reaction_end": {
            "positions": list(pack.near_reaction_end.positions),
            "showing_heat": list(pack.near_reaction_end.showing_heat),
        },
        **({"sides": [_shots(one) for one in pack.sides]} if pack.sides else {}),
        "explanation": list(pack.explanation),
        "advice": list(pack.advice),
    }
