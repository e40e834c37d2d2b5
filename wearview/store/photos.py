"""Originals and overlays, kept as files named by their sha256."""

import hashlib
from collections.abc import Iterable, Mapping
from pathlib import Path

from sqlalchemy import Connection, Table, select

from wearview.errors import StoreError
from wearview.files import reason, write_whole
from wearview.record import AttachedPhoto
from wearview.store.connect import Store
from wearview.store.names import now
from wearview.store.seal import add_row
from wearview.store.tables import photo


def keep_file(store: Store, data: bytes) -> str:
    """Keep bytes in the photo folder and return their sha256. Kept once, however often it is given.

    A kept file that was altered since is written again.
    """
    sha256 = hashlib.sha256(data).hexdigest()
    path = photo_path(store, sha256)
    try:
        whole = path.is_file() and path.read_bytes() == data
    except OSError:
        whole = False
    if not whole:
        write_whole(path, data)
    return sha256


def keep_attached(store: Store, photos: Mapping[str, bytes] | None) -> tuple[AttachedPhoto, ...]:
    """Keep photos by their files' names; the same photo under two names is kept once, under the first."""
    names: dict[str, str] = {}
    for file, data in (photos or {}).items():
        names.setdefault(keep_file(store, data), file)
    return tuple(AttachedPhoto(file, sha256) for sha256, file in names.items())


def note_attached(
    connection: Connection,
    table: Table,
    row_id: int,
    attached: Iterable[AttachedPhoto],
    photos: Mapping[str, bytes] | None,
) -> None:
    """Note kept photos with the row that they belong to, in the table that joins the two."""
    owner = next(iter(table.primary_key)).name
    for one in attached:
        note_file(connection, one.sha256, len((photos or {})[one.file]))
        add_row(connection, table, {owner: row_id, "photo_sha256": one.sha256, "file": one.file})


def photo_bytes(store: Store, sha256: str) -> bytes:
    """The kept file with this sha256.

    Raises
    ------
    StoreError
        When it is missing or no longer what was kept.
    """
    path = photo_path(store, sha256)
    try:
        data = path.read_bytes()
    except OSError as error:
        remedy = "Bring the photo folder back from a backup"
        raise StoreError(str(path), f"this kept photo cannot be read ({reason(error)})", remedy) from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise StoreError(str(path), "this kept photo is not what was stored", "Bring it back from a backup")
    return data


def photo_path(store: Store, sha256: str) -> Path:
    """Where the kept file with this sha256 lies, whether or not it is there."""
    return store.photos / sha256[:2] / sha256


def note_file(connection: Connection, sha256: str, size: int) -> None:
    """Note a kept file in the record, once."""
    if connection.scalar(select(photo.c.sha256).where(photo.c.sha256 == sha256)) is None:
        add_row(connection, photo, {"sha256": sha256, "n_bytes": size, "added_at": now()})


def trays_folders(store: Store) -> tuple[Path, ...]:
    """Where the page notes which photos were given for each element: the folder it writes to, and where else
    notes may lie. Benches that share a database share the photo folder, and maybe none beside it."""
    beside, inside = store.photos.parent / "trays", store.photos / "trays"
    return (beside, inside) if store.file is not None else (inside, beside)
