"""Clean plates measured for the library, and what keeps a wrong photo out of it."""

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from wearview.colour import delta_e
from wearview.errors import CallError, CleanReferenceError
from wearview.library.recognise import FARTHEST, lightness_of_cells, measured_cells
from wearview.library.shelf import check_name, history, keep, out_of_use, read_library
from wearview.library.stored import CleanPhoto, CleanPlate, Pooled, StoredLining, pool
from wearview.lining.sheen import own_sheen
from wearview.look import Source, clean_plates, name_of
from wearview.reference import Reference, named_lining
from wearview.settings import Settings
from wearview.spread import in_quadrature
from wearview.surface import Face

# L* between the darkest and the lightest tenth of a face's parts from which a clean plate is doubted.
# Reckoned once: 2 of 86 clean photos of tuned scenes have more, and 47 of 60 photos whose linings are all
# at level 2 or above and pass for alike.
UNEVEN = 5.0


def measure_clean(source: Source, settings: Settings) -> CleanPhoto:
    """The clean plates in a photo.

    Raises
    ------
    CleanReferenceError
        When it cannot be read, holds no lining that can serve, or plates that are not alike.
    """
    file = name_of(source)
    found = clean_plates(source, settings)
    plates = []
    for face, clean in found.plates:
        assert clean.lab_median is not None
        lightness, a, b = (float(v) for v in clean.lab_median)
        sheen = own_sheen(face, clean.lab_median)
        plates.append(CleanPlate((lightness, a, b), face.grain, sheen, _uneven(face)))
    light = float(np.mean([clean.light_uncertainty for _, clean in found.plates]))
    return CleanPhoto(Path(file).name, found.sha256, found.taken_at, found.light.method, light, tuple(plates))


def doubts(photos: Sequence[CleanPhoto]) -> list[str]:
    """A question for each photo of a plate whose face is as uneven as heat leaves it."""
    worst = [(photo.file, [p.uneven for p in photo.plates if p.uneven >= UNEVEN]) for photo in photos]
    return [
        f"{file}: a face is uneven in lightness (L* {max(uneven):.0f} between its parts), as heat, dirt or a "
        "shadow leave it. Is this plate unused? If not, take the lining out of use: it would make heat look "
        "clean"
        for file, uneven in worst
        if uneven
    ]


def add(
    name: str, photos: Sequence[CleanPhoto], wet: bool, folder: Path | None = None
) -> tuple[StoredLining, list[CleanPhoto]]:
    """Keep the next version of a lining, with these photos beside those it has.

    Returns
    -------
    StoredLining
        The version kept.
    list of CleanPhoto
        Photos that were in it before, by their hash, and were not counted again.

    Raises
    ------
    CallError
        When the name will not do, nothing new was given, or a photo is not of the stored lining.
    OutputError
        When it cannot be written.
    """
    check_name(name)
    there = read_library(folder).get(name)
    old = there.photos if there is not None else ()
    if there is not None and there.wet != wet:
        state = "wet" if there.wet else "dry"
        raise CallError(name, f"is stored {state}", "Give the other state a name of its own, as in tan-wet")
    known = {photo.sha256 for photo in old}
    fresh: list[CleanPhoto] = []
    for photo in photos:
        if photo.sha256 in known:
            continue
        if old or fresh:
            _check_same(name, photo, pool([*old, *fresh]))
        known.add(photo.sha256)
        fresh.append(photo)
    again = [photo for photo in photos if photo not in fresh]
    if not fresh:
        raise CallError(name, "has these photos already", "Give it new ones")
    together = (*old, *fresh)
    now = datetime.now(UTC).isoformat(timespec="seconds")
    keep(StoredLining(name, 0, now, False, wet, together, pool(together)), folder)
    return read_library(folder)[name], again


def remove(name: str, folder: Path | None = None) -> StoredLining:
    """Take a lining out of use by one more version that says so; the versions before stay.

    Raises
    ------
    CallError
        When there is none of that name.
    """
    newest = history(name, folder)[-1]
    if newest.removed:
        raise CallError(name, "was removed before", "")
    now = datetime.now(UTC).isoformat(timespec="seconds")
    keep(replace(newest, removed=True, kept_at=now), folder)
    return history(name, folder)[-1]


def put_back(name: str, folder: Path | None = None) -> StoredLining:
    """Bring a lining that was removed into use again, as it was then, by one more version.

    Raises
    ------
    CallError
        When there never was one of that name, or it is in use.
    """
    newest = history(name, folder)[-1]
    if not newest.removed:
        raise CallError(name, "is in use", "")
    now = datetime.now(UTC).isoformat(timespec="seconds")
    keep(replace(newest, removed=False, kept_at=now), folder)
    return history(name, folder)[-1]


def find_lining(name: str, settings: Settings, folder: Path | None = None) -> Reference:
    """A lining by its name: the shop's own, else a shipped one.

    Raises
    ------
    CleanReferenceError
        When there is none of that name, or it is out of use.
    ModelsError
        When its file is damaged.
    """
    own = read_library(folder)
    if name in own:
        return own[name].reference()
    if name in out_of_use(folder):
        raise CleanReferenceError(name, "is out of use", "Put it back into use, or give another lining")
    return named_lining(name, settings, tuple(own))


def own_linings(folder: Path | None = None) -> list[Reference]:
    """Every lining of the shop's library as a clean reference."""
    return [lining.reference() for lining in read_library(folder).values()]


def _uneven(face: Face) -> float:
    lightness = lightness_of_cells(face, measured_cells(face))
    return float(np.subtract(*np.quantile(lightness, (0.9, 0.1)))) if len(lightness) else math.nan


def _check_same(name: str, photo: CleanPhoto, pooled: Pooled) -> None:
    off = float(delta_e(photo.lab, np.array(pooled.lab)))
    if off > FARTHEST * in_quadrature(photo.light_uncertainty, pooled.light_uncertainty, pooled.spread):
        raise CallError(
            photo.file,
            f"does not look like {name}, Delta E {off:.1f} off",
            "Check that it is the same lining, clean and as dry or wet; else give it a name of its own",
        )
