"""Masks and overlays as files, each whole or not at all."""

from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2

from wearview.draw import overlay_photo, part_masks
from wearview.files import make_folder, write_whole
from wearview.record import Graded, GradedPhoto
from wearview.report import jpeg


def write_masks(folder: Path, graded: Graded) -> None:
    """Write `<stem>-<n>-part.png` and `<stem>-<n>-face.png`, 0 or 255, the size of the upright photo.

    n counts the parts of a photo in position order from 1.
    """
    make_folder(folder)
    for stem, photo in named(graded.photos):
        for n, masks in enumerate(part_masks(photo), start=1):
            for what, mask in zip(("part", "face"), masks, strict=True):
                write_whole(folder / f"{stem}-{n}-{what}.png", cv2.imencode(".png", mask)[1].tobytes())


def write_overlays(folder: Path, graded: Graded) -> None:
    """Write `<stem>-overlay.jpg` of every photo."""
    make_folder(folder)
    for stem, photo in named(graded.photos):
        write_whole(folder / f"{stem}-overlay.jpg", jpeg(overlay_photo(photo)))


def named(photos: Sequence[GradedPhoto]) -> Iterator[tuple[str, GradedPhoto]]:
    """Each photo with the stem of its output files: the second of a stem is `<stem>~2`, and so on."""
    taken: set[str] = set()
    for photo in photos:
        stem, count = photo.stem, 1
        while stem in taken:
            count += 1
            stem = f"{photo.stem}~{count}"
        taken.add(stem)
        yield stem, photo
