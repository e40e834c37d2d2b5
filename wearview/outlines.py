"""Outlines that a person set, read from a file: `wearview grade --outlines FILE`.

The file is JSON of the form `schema/outlines-1.schema.json`: for each photo the rims of plates, the long
edges of bands, and what is no part.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

from jsonschema_rs import Draft202012Validator, ValidationError

from wearview.errors import CallError
from wearview.files import reason
from wearview.parts import BandEdges, Corrections, Rims, check_band, check_rims

SCHEMA_FILE = "outlines-1.schema.json"
REMEDY = "The README shows a file that works"


def outlines_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the file, as shipped in the package."""
    return dict(json.loads(files("wearview").joinpath("schema", SCHEMA_FILE).read_text("utf-8")))


def read_outlines(path: str, photos: Sequence[str]) -> dict[str, Corrections]:
    """What a person set in each photo, by the sha256 of the photo's file.

    Parameters
    ----------
    path : str
        The file of outlines.
    photos : sequence of str
        The photos that will be graded; the file names them by path, or by file name where only one has it.

    Raises
    ------
    CallError
        When the file cannot be read, is of another form, names a photo that is not graded, or its points make
        no ring or band.
    """
    said = _read(path)
    found: dict[str, Corrections] = {}
    for entry in said["photos"]:
        photo = _photo_named(path, entry["photo"], photos)
        corrections = _corrections(path, entry)
        try:
            sha256 = hashlib.sha256(Path(photo).read_bytes()).hexdigest()
        except OSError:
            continue  # grading names the photos that cannot be read
        if (before := found.get(sha256)) is not None:
            corrections = replace(
                before,
                rims=before.rims + corrections.rims,
                bands=before.bands + corrections.bands,
                no_parts=before.no_parts + corrections.no_parts,
            )
        found[sha256] = corrections
    return found


def _read(path: str) -> dict[str, Any]:
    try:
        said = json.loads(Path(path).read_text("utf-8"), parse_constant=_refuse)
    except OSError as error:
        raise CallError(path, f"could not be read ({reason(error)})", "Check its name") from error
    except (ValueError, RecursionError) as error:
        raise CallError(path, "is no JSON file", REMEDY) from error
    for fault in Draft202012Validator(outlines_schema()).iter_errors(said):
        wrong = _what_was_meant(fault)
        place = "/".join(str(step) for step in wrong.instance_path) or "the whole"
        raise CallError(path, f"{place}: {wrong.message[:120]}", REMEDY)
    return dict(said)


def _what_was_meant(fault: ValidationError) -> ValidationError:
    """Where something is neither of two things, what keeps it from the one that it is nearer to."""
    branches = getattr(fault.kind, "context", [])
    return min(branches, key=len)[0] if branches else fault


def _refuse(name: str) -> None:
    raise ValueError(f"JSON has no {name}")


def _photo_named(path: str, name: str, photos: Sequence[str]) -> str:
    if name in photos:
        return name
    alike = [photo for photo in dict.fromkeys(photos) if Path(photo).name == name]
    if len(alike) == 1:
        return alike[0]
    problem = "is not among the photos" if not alike else "is the name of several photos"
    raise CallError(path, f"{name[:120]} {problem}", "Name it as you give it to the command")


def _corrections(path: str, entry: Mapping[str, Any]) -> Corrections:
    rims, bands = [], []
    for n, part in enumerate(entry.get("parts", []), start=1):
        try:
            if "edges" in part:
                band = BandEdges(*(_points(edge) for edge in part["edges"]))
                check_band(band)
                bands.append(band)
            else:
                plate = Rims(_points(part["outer"]), _points(part["inner"]))
                check_rims(plate)
                rims.append(plate)
        except CallError as error:
            place = f"{entry['photo'][:120]}, part {n}: {error.subject}: {error.problem}"
            raise CallError(path, place, error.remedy) from error
    return Corrections(tuple(rims), _points(entry.get("no_parts", [])), tuple(bands))


def _points(said: Sequence[Sequence[float]]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in said)
