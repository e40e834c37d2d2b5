"""A backup of the whole record in one file, and the record made again from it, on either database.

The file is a ZIP with `record/TABLE.jsonl` (one row a line), `photos/SHA256`, what the shop keeps beside its
record in `shop/` (its rules and linings, the colours of its mat, its name and logo), what the page noted of
photos that were given in `trays/`, and `manifest.json` with the hash of each. It holds the customers'
personal data as they stood.
"""

import hashlib
import json
import zipfile
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, MetaData, Table, func, insert, select, text

from wearview import __version__
from wearview.errors import CallError, OutputError
from wearview.files import reason, remove_unfinished, whole_file
from wearview.shop import shop_folder
from wearview.store.archive import (
    FORMAT,
    MANIFEST,
    SHOP,
    TRAY,
    is_backup,
    read_backup,
    rows_of,
    unpack,
    unpacking,
)
from wearview.store.check import kept_files
from wearview.store.connect import Store, reach, snapshot, standing, writing
from wearview.store.names import now
from wearview.store.photos import photo_path, trays_folders
from wearview.store.steps import take_steps, version_of
from wearview.store.tables import metadata, schema_step

_BATCH = 500
_BESIDE = ("rules/*.toml", "linings/*.toml", "*.toml", "shop/*")


def write_backup(store: Store, file: Path) -> dict[str, Any]:
    """Write the record and its photos into one file, and read it back.

    Kept files that are missing or altered are left out; `check` names them.

    Returns
    -------
    dict
        The manifest: rows by table, files by hash.

    Raises
    ------
    CallError
        When something else stands under that name.
    OutputError
        When the file cannot be written or does not read back as it was written.
    """
    if file.exists() and not is_backup(file):
        raise CallError(str(file), "is there and is no backup", "Give another name")
    remove_unfinished(file.parent)
    with whole_file(file) as out, zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        with snapshot(store) as connection:
            version = version_of(connection)
            tables = {
                table.name: _write_table(archive, connection, table)
                for table in metadata.sorted_tables
                if table is not schema_step
            }
        files = {path.name: size for path in kept_files(store) if (size := _write_file(archive, path))}
        shop = {
            name: _write_beside(archive, "shop", shop_folder(), name) for name in _shop_files(shop_folder())
        }
        trays = {path.name: _write_beside(archive, "trays", path.parent, path.name) for path in _trays(store)}
        manifest = {
            "format": FORMAT,
            "program_version": __version__,
            "record_version": version,
            "made_at": now(),
            "tables": tables,
            "files": files,
            "shop": shop,
            "trays": trays,
        }
        archive.writestr(MANIFEST, json.dumps(manifest, indent=1))
    read_backup(file)
    return manifest


def restore(url: str | None, file: Path) -> Store:
    """Make the record again from a backup, in a database that holds none.

    Everything is compared with the manifest before anything is written; photos first, then all rows in one
    transaction, brought up to date where the backup is older. Of the shop's other files those are written
    that are not there.

    Raises
    ------
    CallError
        When the file is no backup, or the record holds something.
    OutputError
        When the backup is damaged or the record cannot be written.
    """
    manifest = read_backup(file)
    store = reach(url)
    version = manifest["record_version"]
    standing(store)
    with unpacking(file) as archive, writing(store) as connection:
        if version_of(connection) not in (0, version) or not _is_empty(connection):
            raise CallError(store.label, "holds a record", "Give --store a database that holds none")
        for sha256 in manifest["files"]:
            unpack(archive, f"photos/{sha256}", photo_path(store, sha256))
        take_steps(connection, to=version)
        there = MetaData()
        there.reflect(connection)
        for table in there.sorted_tables:
            if table.name in manifest["tables"]:
                _read_table(archive, connection, table)
        take_steps(connection)
        for name in sorted(manifest.get("shop", {}).keys() - set(_shop_files(shop_folder()))):
            unpack(archive, f"shop/{name}", shop_folder() / name)
        for name in manifest.get("trays", {}):
            unpack(archive, f"trays/{name}", trays_folders(store)[0] / name)
    return store


def _is_empty(connection: Connection) -> bool:
    there = MetaData()
    there.reflect(connection)
    return all(
        connection.execute(select(table).limit(1)).first() is None
        for table in there.sorted_tables
        if table.name in metadata.tables and table.name != schema_step.name
    )


def _write_table(archive: zipfile.ZipFile, connection: Connection, table: Table) -> dict[str, Any]:
    """Write the rows of a table; how many, and the sha256 of their text."""
    count, hashed = 0, hashlib.sha256()
    info = zipfile.ZipInfo(f"record/{table.name}.jsonl")
    info.compress_type = zipfile.ZIP_DEFLATED
    query = select(table).order_by(*table.primary_key)
    with archive.open(info, "w", force_zip64=True) as out:
        for row in connection.execute(query, execution_options={"yield_per": _BATCH}).mappings():
            line = (json.dumps(dict(row), allow_nan=False) + "\n").encode("ascii")
            out.write(line)
            hashed.update(line)
            count += 1
    return {"rows": count, "sha256": hashed.hexdigest()}


def _shop_files(folder: Path) -> list[str]:
    """What a shop keeps beside its record, by its path in the shop's folder."""
    found = [path for part in _BESIDE for path in folder.glob(part) if path.is_file()]
    return sorted(filter(SHOP.fullmatch, (path.relative_to(folder).as_posix() for path in found)))


def _trays(store: Store) -> list[Path]:
    """The page's notes of photos given and not yet stored as graded."""
    found = [path for folder in trays_folders(store) for path in folder.glob("*.jsonl")]
    return sorted(path for path in found if TRAY.fullmatch(path.name))


def _write_beside(archive: zipfile.ZipFile, where: str, folder: Path, name: str) -> str:
    """Write a file that is kept beside the record; its sha256."""
    try:
        data = (folder / name).read_bytes()
    except OSError as error:
        raise OutputError(name, f"could not be read ({reason(error)})", "Mend it and run it again") from error
    archive.writestr(f"{where}/{name}", data)
    return hashlib.sha256(data).hexdigest()


def _write_file(archive: zipfile.ZipFile, path: Path) -> int | None:
    """Write a kept file; its size, or None where it is not what was kept."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    if hashlib.sha256(data).hexdigest() != path.name:
        return None
    archive.writestr(f"photos/{path.name}", data)
    return len(data)


def _read_table(archive: zipfile.ZipFile, connection: Connection, table: Table) -> None:
    batch: list[dict[str, Any]] = []
    columns = set(table.columns.keys())
    for row in rows_of(archive, table.name):
        if row.keys() != columns:
            raise OutputError(
                table.name, "has a row with other columns in the backup", "Take an older backup"
            )
        batch.append(row)
        if len(batch) == _BATCH:
            connection.execute(insert(table), batch)
            batch = []
    if batch:
        connection.execute(insert(table), batch)
    if connection.dialect.name == "postgresql":
        count_on(connection, table)


def count_on(connection: Connection, table: Table) -> None:
    """Let PostgreSQL number the next row after those put in with their numbers."""
    if "id" not in table.columns:
        return
    sequence = connection.scalar(text("SELECT pg_get_serial_sequence(:name, 'id')"), {"name": table.name})
    if sequence is not None:
        following = connection.scalar(select(func.coalesce(func.max(table.c.id), 0) + 1))
        connection.execute(select(func.setval(sequence, following, False)))
