"""An archive of photos, in a folder or an object store: each folder with photos in it is one pack."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePosixPath

import cv2
import fsspec

from wearview.errors import CallError, WearviewError
from wearview.photo import PhotoBytes
from wearview.pipeline import grade_photos
from wearview.record import build_document, to_json, without_pictures
from wearview.shop import shop_settings
from wearview.store.regraded import Regraded

ENDINGS = (".jpg", ".jpeg", ".png", ".heic", ".heif", ".webp", ".tif", ".tiff", ".avif")
REFERENCE = "reference"


@dataclass(frozen=True, slots=True)
class Pack:
    """The photos of one pack.

    Attributes
    ----------
    name : str
        Its folder, from the archive's root.
    photos : tuple of str
        Their addresses in position order: by name, as they were numbered.
    reference : str or None
        The photo called `reference`, of a clean plate of the same lining.
    """

    name: str
    photos: tuple[str, ...]
    reference: str | None


def packs_of(archive: str) -> Iterator[Pack]:
    """The packs of an archive, one after the other as they are listed.

    Parameters
    ----------
    archive : str
        A folder, or an address that fsspec knows, such as `s3://bucket/folder`.

    Raises
    ------
    CallError
        When there is no such archive, or what its kind of address needs is not installed.
    """
    try:
        files, root = fsspec.core.url_to_fs(archive)
        if not files.isdir(root):
            raise CallError(archive, "is no folder of photos", "Check the address")
    except (ImportError, ValueError, OSError) as error:
        raise CallError(
            archive, f"cannot be reached ({error})".replace("\n", " "), "Check the address"
        ) from error
    for folder, inner, names in files.walk(root):
        inner.sort()
        photos = sorted(name for name in names if name.lower().endswith(ENDINGS))
        own = [name for name in photos if PurePosixPath(name).stem.lower() != REFERENCE]
        clean = [name for name in photos if name not in own]
        if own:
            name = str(PurePosixPath(folder).relative_to(root)) if folder != root else "."
            paths = tuple(files.unstrip_protocol(f"{folder}/{photo}") for photo in own)
            yield Pack(name, paths, files.unstrip_protocol(f"{folder}/{clean[0]}") if clean else None)


def grade_pack(pack: Pack, rules: str) -> Regraded:
    """Grade a pack on one core. What stops it is told as its problem, so that the others go on."""
    cv2.setNumThreads(1)
    try:
        settings = shop_settings(rules)
        graded = grade_photos(
            [_bytes(photo, pack.name) for photo in pack.photos],
            settings,
            reference=None if pack.reference is None else _bytes(pack.reference, pack.name),
            finish=without_pictures,
        )
        return Regraded(pack.name, to_json(build_document(graded, settings)), None)
    except (WearviewError, OSError) as error:
        return Regraded(pack.name, None, str(error).replace("\n", " "))


def _bytes(address: str, pack: str) -> PhotoBytes:
    with fsspec.open(address, "rb") as file:
        return PhotoBytes(f"{pack}/{PurePosixPath(address).name}", file.read())
