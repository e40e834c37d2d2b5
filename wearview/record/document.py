"""The grading document: checked against its schema, written as JSON, several joined in one."""

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from wearview.errors import CallError
from wearview.terms import PROBLEMS

Document = dict[str, Any]

CONTRACT = "wearview.grading/1"
SCHEMA_FILE = "grading-1.schema.json"

# Shares and probabilities sum to 1; seven values written with four decimals may miss it by 3.5e-4.
SUM_TOLERANCE = 1e-3


@cache
def schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the document, as shipped in the package."""
    text = files("wearview").joinpath("schema", SCHEMA_FILE).read_text("utf-8")
    return dict(json.loads(text))


def validate(document: Mapping[str, Any]) -> None:
    """Check a document against the schema and against what a schema cannot say.

    The latter: no number is NaN or infinite (JSON has neither, and the schema lets them pass), problems are
    on the published list, ids occur once, the pack names only parts that are there, shares and
    probabilities sum to 1.

    Raises
    ------
    CallError
        Names the first place that does not hold.
    """
    try:
        # The validator knows JSON's own types and no others.
        written = json.loads(json.dumps(document, allow_nan=False))
    except TypeError as error:
        raise CallError("grading document", str(error), "It was not kept") from error
    except ValueError as error:
        place = next(_not_finite(document, ()), "the whole")
        raise CallError(
            "grading document",
            f"{place}: not a finite number; what was not measured must be null",
            "It was not kept",
        ) from error
    wrong = min(_validator().iter_errors(written), key=_depth, default=None)
    if wrong is not None:
        place = "/".join(str(step) for step in wrong.instance_path) or "the whole"
        raise CallError("grading document", f"{place}: {wrong.message[:200]}", "It was not kept")
    for place, complaint in _complaints(document):
        raise CallError("grading document", f"{place}: {complaint}", "It was not kept")


def to_json(document: Mapping[str, Any]) -> str:
    """The document as JSON text: keys in the schema's order, plain ASCII, a final newline.

    Equal documents give equal bytes, whatever order their keys were put in.

    Raises
    ------
    ValueError
        When a value is NaN or infinite: what was not measured must be None.
    """
    return json.dumps(_ordered(document, schema()), allow_nan=False, indent=1) + "\n"


def parts_of(document: Mapping[str, Any]) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Each part of the document with its photo, as (photo, part), in the order they stand there.

    A part that is another shot of one of them is left out: what it shows is in that one's reading.
    """
    return ((photo, part) for photo, part in _every_shot(document) if "shot_of" not in part)


def _every_shot(document: Mapping[str, Any]) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    for photo in document["photos"]:
        for part in photo["parts"]:
            yield photo, part


def combine(elements: Iterable[tuple[str, Document]]) -> Document:
    """One document out of those of several elements.

    Parameters
    ----------
    elements : iterable of (name, document)
        At least one; all made by the same program and rules.

    Returns
    -------
    dict
        All photos and unread files. The optional field `elements` holds each element's name, photos,
        reference and pack; the plain `reference` and `pack` are the first element's that has a pack, else
        the first element's. A part compared with another reference than the plain one carries its own.

    Raises
    ------
    CallError
        When there is nothing to combine or programs or rules differ.
    """
    named = list(elements)
    if not named:
        raise CallError("grading document", "there is nothing to combine", "")
    first = next((document for _, document in named if document["pack"] is not None), named[0][1])
    photos: dict[str, dict[str, Any]] = {}
    for name, document in named:
        if (document["program"], document["rules"]) != (first["program"], first["rules"]):
            raise CallError(name, "was graded by another program or other rules", "Grade it again")
        for photo in document["photos"]:
            photos.setdefault(
                photo["sha256"], _with_own_reference(photo, document["reference"], first["reference"])
            )
    return {
        "contract": CONTRACT,
        "program": first["program"],
        "rules": first["rules"],
        "reference": first["reference"],
        "photos": list(photos.values()),
        "unread": [entry for _, document in named for entry in document["unread"]],
        "pack": first["pack"],
        "elements": [
            {
                "name": name,
                "photos": [photo["sha256"] for photo in document["photos"]],
                "reference": document["reference"],
                "pack": document["pack"],
            }
            for name, document in named
        ],
    }


def _with_own_reference(photo: dict[str, Any], own: dict[str, Any], plain: dict[str, Any]) -> dict[str, Any]:
    if own == plain:
        return photo
    return photo | {"parts": [{**part, "reference": part.get("reference") or own} for part in photo["parts"]]}


@cache
def _validator() -> Any:
    from jsonschema_rs import Draft202012Validator  # not loaded by commands that make no document

    return Draft202012Validator(schema())


def _not_finite(value: Any, place: tuple[str, ...]) -> Iterator[str]:
    """Places of numbers that are NaN or infinite."""
    if isinstance(value, Mapping):
        for name, item in value.items():
            yield from _not_finite(item, (*place, str(name)))
    elif isinstance(value, (list, tuple)):
        for i, item in enumerate(value):
            yield from _not_finite(item, (*place, str(i)))
    elif isinstance(value, float) and not math.isfinite(value):
        yield "/".join(place)


def _depth(error: Any) -> tuple[int, list[str]]:
    return len(error.instance_path), [str(step) for step in error.instance_path]


def _complaints(document: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    ids: set[str] = set()
    standing = {part["id"] for _, part in parts_of(document)}
    for photo, part in _every_shot(document):
        place = f"part {part['id']}"
        if not part["id"].startswith(photo["sha256"][:12]):
            yield place, "its id does not begin with the photo's sha256"
        if part["id"] in ids:
            yield place, "its id occurs twice"
        if "shot_of" in part and part["shot_of"] not in standing:
            yield place, "it is a shot of a part that is not there"
        ids.add(part["id"])
        if (tint := part["heat_tint"]) and not _is_one(tint["area"].values()):
            yield place, "its heat tint areas do not sum to 1"
        if (grade := part["grade"]) and not _is_one(grade["probability"]):
            yield place, "its probabilities do not sum to 1"
    for photo in document["photos"]:
        listed = {p for part in photo["parts"] for p in part["problems"]} | set(photo["quality"]["problems"])
        if unknown := sorted(listed - PROBLEMS.keys()):
            yield f"photo {photo['sha256'][:12]}", f"not a published problem: {', '.join(unknown)}"
    packs = [document["pack"], *(element["pack"] for element in document.get("elements", []))]
    for pack in packs:
        if pack and (strangers := set(pack["order"]) - ids):
            yield "pack", f"names parts that are not there: {', '.join(sorted(strangers))}"


def _is_one(shares: Iterable[float]) -> bool:
    return abs(math.fsum(shares) - 1) <= SUM_TOLERANCE


def _ordered(value: Any, rule: Mapping[str, Any]) -> Any:
    """`value` with the keys of every object in the order in which its schema lists them."""
    while "$ref" in rule:
        rule = schema()["$defs"][rule["$ref"].rsplit("/", 1)[1]]
    if "anyOf" in rule:
        rule = rule["anyOf"][0]  # the schema writes "this or null", null last
        return None if value is None else _ordered(value, rule)
    if isinstance(value, Mapping):
        listed: Mapping[str, Any] = rule.get("properties", {})
        names = [name for name in listed if name in value] + sorted(value.keys() - listed.keys())
        return {name: _ordered(value[name], listed.get(name, {})) for name in names}
    if isinstance(value, (list, tuple)):
        return [_ordered(item, rule.get("items", {})) for item in value]
    return value
