"""The file of a backup, before anything in it is believed.

Somebody else may have made it: its manifest is held to what `backup` writes, names that lead out of their
folder are refused, and so is what would unpack to far more than the file holds. Everything is read in pieces.
"""

import contextlib
import hashlib
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from wearview.errors import CallError, OutputError
from wearview.files import whole_file
from wearview.store.steps import NEWEST

FORMAT = "wearview.backup/1"
MANIFEST = "manifest.json"
TRAY = re.compile(r"[0-9a-f]{32}(\.[0-9a-f]{12})?\.jsonl")
# Rows of gradings that are much alike pack to a fortieth; a bomb to a thousandth.
_MOST_PACKED = 200
_ALWAYS_FITS = 64 << 20  # bytes
_LONGEST_LINE = 256 << 20  # bytes; a document of a thousand parts has 10 MB
_CHUNK = 1 << 20
_SHA256 = re.compile(r"[0-9a-f]{64}")
# Of the shop's folder, see `backup`: no hidden file, no path that leads elsewhere.
SHOP = re.compile(r"(rules/|linings/|shop/)?[^./\\:\x00-\x1f][^/\\:\x00-\x1f]{0,199}")
_TABLE = re.compile(r"[a-z_]{1,40}")
# What zipfile and zlib raise on files that are damaged or made up.
_UNREADABLE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    KeyError,
    NotImplementedError,  # a way of packing, or a version of the format, that zipfile does not know
    RuntimeError,  # a file with a password
    ValueError,
    OSError,
)
_OLDER = "Take an older backup"


def is_backup(file: Path) -> bool:
    """Whether a file says that it is a backup."""
    try:
        with zipfile.ZipFile(file) as archive:
            return _manifest_of(archive)["format"] == FORMAT
    except (*_UNREADABLE, TypeError):
        return False


def read_backup(file: Path) -> dict[str, Any]:
    """Read a backup through and compare everything in it with its manifest.

    Returns
    -------
    dict
        The manifest.

    Raises
    ------
    CallError
        When it is no backup, or a newer program's.
    OutputError
        When something in it is missing or altered, or it is not made as a backup is.
    """
    if not is_backup(file):
        raise CallError(str(file), "is no backup", "Give a file made by: wearview backup FILE")
    with unpacking(file) as archive:
        manifest = _manifest_of(archive)
        _expect_shape(manifest, file)
        if manifest["record_version"] > NEWEST:
            raise CallError(str(file), "was made by a newer wearview", "Install the newer program")
        unpacked = sum(info.file_size for info in archive.infolist())
        if unpacked > _MOST_PACKED * file.stat().st_size + _ALWAYS_FITS:
            raise _not_ours(file, "it would unpack to far more than it holds")
        for name, table in manifest["tables"].items():
            if _hash_of(archive, f"record/{name}.jsonl") != table["sha256"]:
                raise OutputError(str(file), f"the rows of {name} were altered", _OLDER)
        for sha256 in manifest["files"]:
            if _hash_of(archive, f"photos/{sha256}") != sha256:
                raise OutputError(str(file), f"the photo {sha256} was altered", _OLDER)
        for folder in ("shop", "trays"):
            for name, sha256 in manifest.get(folder, {}).items():
                if _hash_of(archive, f"{folder}/{name}") != sha256:
                    raise OutputError(str(file), f"the file {name} was altered", _OLDER)
    return manifest


@contextlib.contextmanager
def unpacking(file: Path) -> Iterator[zipfile.ZipFile]:
    """A backup open for reading.

    Raises
    ------
    OutputError
        When it turns out to be damaged.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            yield archive
    except (CallError, OutputError):
        raise
    except _UNREADABLE as error:
        raise OutputError(str(file), "is not whole", _OLDER) from error


def unpack(archive: zipfile.ZipFile, name: str, path: Path) -> None:
    """Write a member to a file, whole or not at all."""
    with archive.open(name) as source, whole_file(path) as out:
        for chunk in _chunks(source):
            out.write(chunk)


def rows_of(archive: zipfile.ZipFile, table: str) -> Iterator[dict[str, Any]]:
    """The rows of a table.

    Raises
    ------
    OutputError
        When a line is no row.
    """
    with archive.open(f"record/{table}.jsonl") as source:
        while line := source.readline(_LONGEST_LINE):
            try:
                row = json.loads(line)
            except (ValueError, RecursionError) as error:
                raise OutputError(f"record/{table}.jsonl", "has a line that is no row", _OLDER) from error
            if not isinstance(row, dict) or not all(_is_plain(value) for value in row.values()):
                raise OutputError(f"record/{table}.jsonl", "has a line that is no row", _OLDER)
            yield row


def _is_plain(value: Any) -> bool:
    """Whether a value can stand in a column, on either database."""
    if isinstance(value, str):
        return "\0" not in value and not any("\ud800" <= c <= "\udfff" for c in value)
    if isinstance(value, int):
        return -(2**63) <= value < 2**63
    return value is None or isinstance(value, float)


def _manifest_of(archive: zipfile.ZipFile) -> dict[str, Any]:
    if archive.getinfo(MANIFEST).file_size > _LONGEST_LINE:
        raise ValueError("no manifest is so long")
    try:
        manifest = json.loads(archive.read(MANIFEST))
    except RecursionError as error:
        raise ValueError("no manifest is nested so deeply") from error
    if not isinstance(manifest, dict):
        raise ValueError("no manifest")
    return manifest


def _expect_shape(manifest: dict[str, Any], file: Path) -> None:
    """Hold the manifest to what `backup` writes.

    Raises
    ------
    OutputError
        When it is made otherwise.
    """
    version, tables, files = (manifest.get(key) for key in ("record_version", "tables", "files"))
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise _not_ours(file, "its record has no version")
    if not isinstance(tables, dict) or not all(
        _TABLE.fullmatch(name) and isinstance(told, dict) and _is_hash(told.get("sha256"))
        for name, told in tables.items()
    ):
        raise _not_ours(file, "its tables are not named as they should be")
    if not isinstance(files, dict) or not all(map(_is_hash, files)):
        raise _not_ours(file, "its photos are not named by their hash")
    for folder, names in (("shop", SHOP), ("trays", TRAY)):
        told = manifest.get(folder, {})
        if not isinstance(told, dict) or not all(map(_is_hash, told.values())):
            raise _not_ours(file, f"its {folder} files are not listed as they should be")
        for name in told:
            if not names.fullmatch(name):
                raise _not_ours(file, f"the file {name} does not belong into a backup")


def _not_ours(file: Path, why: str) -> OutputError:
    return OutputError(str(file), f"is not made as a backup is: {why}", "Use a backup that you made yourself")


def _is_hash(value: Any) -> bool:
    return isinstance(value, str) and _SHA256.fullmatch(value) is not None


def _hash_of(archive: zipfile.ZipFile, name: str) -> str:
    hashed = hashlib.sha256()
    with archive.open(name) as source:
        for chunk in _chunks(source):
            hashed.update(chunk)
    return hashed.hexdigest()


def _chunks(source: IO[bytes]) -> Iterator[bytes]:
    while chunk := source.read(_CHUNK):
        yield chunk
