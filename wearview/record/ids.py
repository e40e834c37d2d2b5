"""A stored part keeps its id when graded again, even if the parts are then found in another order."""

from collections.abc import Iterable, Mapping
from typing import Any

from wearview.record.document import Document

# Two outlines are the same part when their boxes share at least this much of their union. Neighbours that
# overlap by a third of their width share a fifth; a regraded part shares nearly all.
SAME_PART = 0.5


def keep_ids(document: Document, earlier: Iterable[Mapping[str, Any]]) -> Document:
    """The document with the ids that its parts had in earlier gradings of the same photos.

    Parts are told by their outline, since n counts parts as they were found then. A part not seen before
    gets the next free number of its photo.

    Parameters
    ----------
    document : dict
        A new grading; not changed.
    earlier : iterable of dict
        Earlier documents, oldest first.
    """
    known: dict[str, dict[str, Any]] = {}
    for old in earlier:
        for photo in old["photos"]:
            known.setdefault(photo["sha256"], {}).update({part["id"]: part for part in photo["parts"]})
    if not known:
        return document
    renamed: dict[str, str] = {}
    for photo in document["photos"]:
        renamed |= _names(photo, known.get(photo["sha256"], {}))
    photos = [
        photo | {"parts": [_renamed_part(part, renamed) for part in photo["parts"]]}
        for photo in document["photos"]
    ]
    pack = document["pack"]
    if pack is not None:
        pack = pack | {"order": [renamed[part_id] for part_id in pack["order"]]}
        if "sides" in pack:
            pack["sides"] = [_renamed(one, renamed) for one in pack["sides"]]
    return document | {"photos": photos, "pack": pack}


def _renamed(entry: dict[str, Any], renamed: Mapping[str, str]) -> dict[str, Any]:
    """Several shots' or sides' ids, renamed."""
    return entry | {"ids": [renamed[part_id] for part_id in entry["ids"]]}


def _renamed_part(part: dict[str, Any], renamed: Mapping[str, str]) -> dict[str, Any]:
    part = part | {"id": renamed[part["id"]]}
    if "shot_of" in part:
        part["shot_of"] = renamed[part["shot_of"]]
    if "shots" in part:
        part["shots"] = _renamed(part["shots"], renamed)
    return part


def _names(photo: Mapping[str, Any], known: Mapping[str, Mapping[str, Any]]) -> dict[str, str]:
    """New id to kept id, for every part of the photo."""
    pairs = sorted(
        (
            (_overlap(_box(part), _box(old)), part["id"], old_id)
            for part in photo["parts"]
            for old_id, old in known.items()
        ),
        key=lambda pair: (-pair[0], pair[1], pair[2]),
    )
    names: dict[str, str] = {}
    for overlap, new_id, old_id in pairs:
        if overlap >= SAME_PART and new_id not in names and old_id not in names.values():
            names[new_id] = old_id
    following = max((int(old_id.split("-")[1]) for old_id in known), default=0) + 1
    for part in photo["parts"]:
        if part["id"] in names:
            continue
        if known:
            names[part["id"]] = f"{photo['sha256'][:12]}-{following}"
            following += 1
        else:
            names[part["id"]] = part["id"]
    return names


def _box(part: Mapping[str, Any]) -> tuple[float, float, float, float]:
    xs, ys = zip(*part["outline"]["polygon"], strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> float:
    """Intersection over union of two boxes (left, top, right, bottom); pixels have width, so edges count."""
    width = min(a[2], b[2]) - max(a[0], b[0]) + 1
    height = min(a[3], b[3]) - max(a[1], b[1]) + 1
    if width <= 0 or height <= 0:
        return 0.0
    areas = [(box[2] - box[0] + 1) * (box[3] - box[1] + 1) for box in (a, b)]
    return width * height / (sum(areas) - width * height)
