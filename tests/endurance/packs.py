"""Packs to store, each with photos of its own."""

import os
from dataclasses import dataclass
from typing import Any

from tests import documents
from wearview import store as record

TEARDOWN, ELEMENT = "Job 7", "Forward"
PARTS = 3


@dataclass(frozen=True)
class Pack:
    """A graded pack: its document and its photos with overlays."""

    document: dict[str, Any]
    photos: list[record.GradedPhoto]


def new_pack(size: int = 20_000) -> Pack:
    """A pack of three plates in two photos of about `size` bytes that nobody has seen before."""
    first, second = (documents.jpeg(shade) + os.urandom(size) for shade in (90, 140))
    entries = [
        documents.photo_entry(
            first, "1.jpg", [documents.part(first, 1, 1, 0), documents.part(first, 2, 2, 1, left=150)]
        ),
        documents.photo_entry(second, "2.jpg", [documents.part(second, 1, 3, 3)]),
    ]
    photos = [record.GradedPhoto(data, os.urandom(size)) for data in (first, second)]
    return Pack(documents.document(entries), photos)


def store_pack(store: record.Store, pack: Pack, element: str = ELEMENT) -> None:
    """Store a pack and a verdict on its first plate."""
    record.add_grading(store, TEARDOWN, element, pack.document, pack.photos)
    record.add_verdict(store, TEARDOWN, element, "1", "reuse", note=pack.photos[0].original[-8:].hex())


def history(store: record.Store, element: str = ELEMENT) -> tuple[list[str], list[str]]:
    """What is told of an element, oldest first: hashes of its gradings, notes of its verdicts."""
    found = [e for e in record.get_teardown(store, TEARDOWN).elements if e.name == element]
    gradings = [grading.document_sha256 for e in found for grading in e.gradings]
    return gradings, [str(verdict.note) for e in found for verdict in e.verdicts]


def is_beginning(before: tuple[list[str], list[str]], after: tuple[list[str], list[str]]) -> bool:
    """Whether nothing that was told before has changed or gone."""
    return all(new[: len(old)] == old for old, new in zip(before, after, strict=True))
