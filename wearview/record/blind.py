"""Blind verdicts: what a person may see of a grading before his verdict is in."""

from collections.abc import Collection
from dataclasses import replace

from wearview.record.document import Document
from wearview.record.history import Element, Grading, Teardown

HIDDEN = "verdict not in"  # the problem that a part carries whose grade is hidden
_MEASURED = ("discoloration", "glazing", "heat_tint", "grade")


def veil(teardown: Teardown) -> Teardown:
    """The teardown without the grades that must not be seen yet; the same where it is not judged blind.

    A part is shown once it, or the pack as a whole, has a verdict. What tells of several parts (the pack's
    profile, a photo's overlay) is shown when all of them are.
    """
    if not teardown.blind:
        return teardown
    return replace(teardown, elements=tuple(_veiled(element) for element in teardown.elements))


def veil_document(document: Document, shown: Collection[str] = ()) -> Document:
    """The document without the measurements of parts that are not among `shown` (ids), nor its pack."""
    photos = [
        photo | {"parts": [part if _stands_for(part) in shown else _hidden(part) for part in photo["parts"]]}
        for photo in document["photos"]
    ]
    return document | {"photos": photos, "pack": None}


def _veiled(element: Element) -> Element:
    if element.pack_verdicts:
        return element
    shown = {v.part_id for v in element.verdicts if v.part_id is not None}
    return replace(element, gradings=tuple(_veiled_grading(grading, shown) for grading in element.gradings))


def _veiled_grading(grading: Grading, shown: Collection[str]) -> Grading:
    hiding = {
        photo["sha256"]
        for photo in grading.document["photos"]
        if any(_stands_for(part) not in shown for part in photo["parts"])
    }
    if not hiding:
        return grading
    overlays = {photo: overlay for photo, overlay in grading.overlays.items() if photo not in hiding}
    return replace(grading, document=veil_document(grading.document, shown), overlays=overlays)


def _stands_for(part: dict) -> str:
    """The id of the part that a verdict is given to; another shot of it follows it."""
    return str(part.get("shot_of", part["id"]))


def _hidden(part: dict) -> dict:
    part = {
        name: value for name, value in part.items() if name not in ("shots", "ungraded_because", "remedies")
    }
    return part | dict.fromkeys(_MEASURED) | {"problems": [*part["problems"], HIDDEN], "gradeable": False}
