"""Looking through the whole record, and the shop's linings, for what is missing or was altered."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Table, select, text

from wearview import library
from wearview.files import remove_unfinished
from wearview.record import parts_of
from wearview.shop import shop_folder
from wearview.store.connect import Store, snapshot
from wearview.store.counted import is_as_recorded, mend_counts
from wearview.store.followed import lining_rows
from wearview.store.gradings import part_row
from wearview.store.guards import guard_names
from wearview.store.photos import photo_path, trays_folders
from wearview.store.seal import FIRST, digest, key_text, row_text
from wearview.store.tables import APPEND_ONLY, SEALED, graded_lining, graded_part, grading, photo, seal

_HEX = "[0-9a-f][0-9a-f]"  # folders of kept files


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that is not as it was stored: where, and what is wrong with it."""

    where: str
    problem: str


@dataclass(frozen=True, slots=True)
class Checked:
    """What was looked through, and what was found.

    Attributes
    ----------
    rows, files : int
        How many sealed rows and kept files were looked at.
    findings : tuple of Finding
    unnamed : int
        Files of the photo folder that no row names: given, but graded in no teardown so far, or kept by a
        program that was stopped before it wrote their row.
    unfinished : int
        Files that were left half written by a program that was stopped, and were removed.
    """

    rows: int
    files: int
    findings: tuple[Finding, ...]
    unnamed: int
    unfinished: int = 0


def check_record(store: Store) -> Checked:
    """Compare every row with its seal, every grading with its document, every kept file with its hash, every
    lining with the version before it, the counts with what they count; counts that are off are made again.

    Raises
    ------
    StoreError
        When the record cannot be read at all.
    """
    with snapshot(store) as connection:
        rows = connection.execute(select(seal.c.id).order_by(seal.c.id.desc()).limit(1)).scalar() or 0
        findings = [
            *_database(connection),
            *_guards(connection),
            *_seals(connection),
            *_documents(connection),
        ]
        counts_hold = is_as_recorded(connection)
        named = {
            row.sha256: row.n_bytes for row in connection.execute(select(photo).order_by(photo.c.sha256))
        }
    findings += [found for sha256, size in named.items() for found in _file(store, sha256, size)]
    findings += [Finding(where, problem) for where, problem in library.findings()]
    if not counts_hold:
        findings.append(_mended(store))
    unfinished = sum(map(remove_unfinished, _written_to(store)))
    unnamed = sum(path.is_file() and path.name not in named for path in store.photos.glob(f"{_HEX}/*"))
    return Checked(rows, len(named), tuple(findings), unnamed, unfinished)


def _mended(store: Store) -> Finding:
    """Make the counts of agreement again, which nothing rests on but the figures shown."""
    told = "are not what the record comes to"
    if store.read_only:
        return Finding("counts of agreement", told)
    mend_counts(store)
    return Finding("counts of agreement", f"{told}; they were made again from it")


def _written_to(store: Store) -> Iterator[Path]:
    """Every folder that the program writes files of the record to."""
    if store.file is not None:
        yield store.file.parent
    own = shop_folder()
    yield from {own, *own.glob("*/"), *trays_folders(store), *store.photos.glob("*/")} - {store.photos}


def kept_files(store: Store) -> Iterator[Path]:
    """The files of the photo folder, by hash."""
    yield from sorted(path for path in store.photos.glob(f"{_HEX}/*") if len(path.name) == 64)


def _database(connection: Connection) -> Iterator[Finding]:
    """What SQLite says of its own file."""
    if connection.dialect.name != "sqlite":
        return
    for told in connection.exec_driver_sql("PRAGMA integrity_check").scalars():
        if told != "ok":
            yield Finding("database", told)
    for row in connection.exec_driver_sql("PRAGMA foreign_key_check").all():
        yield Finding(f"{row[0]} {row[1]}", f"names a {row[2]} that is not there")


def _guards(connection: Connection) -> Iterator[Finding]:
    """Whether every table is still append-only."""
    if connection.dialect.name == "sqlite":
        query = text("SELECT name FROM sqlite_master WHERE type = 'trigger'")
    else:
        query = text("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'")
    there = set(connection.scalars(query))
    for table in APPEND_ONLY:
        for name in guard_names(table, connection.dialect.name):
            if name not in there:
                yield Finding(table.name, f"the guard {name} is missing, so its rows could be altered")


def _seals(connection: Connection) -> Iterator[Finding]:
    rows = {table.name: _texts(connection, table) for table in SEALED}
    previous, number = FIRST, 0
    for sealed in connection.execute(select(seal).order_by(seal.c.id)):
        if sealed.id != number + 1:
            yield Finding("seal", f"numbers {number + 1} to {sealed.id - 1} are missing")
        number = sealed.id
        told = rows.get(sealed.table_name, {}).pop(sealed.row_key, None)
        if told is None:
            yield Finding(f"{sealed.table_name} {sealed.row_key}", "is missing")
        elif digest(previous, sealed.table_name, told) != sealed.digest:
            yield Finding(f"{sealed.table_name} {sealed.row_key}", "was altered")
        previous = sealed.digest
    for name, left in rows.items():
        for key in left:
            yield Finding(f"{name} {key}", "was not added by this program")


def _texts(connection: Connection, table: Table) -> dict[str, str]:
    """Key to text of every row of a table, as the seal takes them."""
    columns = [column for column in table.columns if column is not grading.c.document]
    rows = connection.execute(select(*columns)).mappings()
    return {key_text(table, dict(row)): row_text(dict(row)) for row in rows}


def _documents(connection: Connection) -> Iterator[Finding]:
    query = select(grading.c.id, grading.c.document, grading.c.document_sha256).order_by(grading.c.id)
    columns = [column for column in graded_part.columns if column is not graded_part.c.grading_id]
    for row in connection.execute(query, execution_options={"yield_per": 50}):
        if hashlib.sha256(row.document.encode("utf-8")).hexdigest() != row.document_sha256:
            yield Finding(f"grading [{row.id}]", "its document was altered")
            continue
        document = json.loads(row.document)
        told = {part["id"]: part_row(entry, part) for entry, part in parts_of(document)}
        mine = connection.execute(select(*columns).where(graded_part.c.grading_id == row.id)).mappings()
        kept = {found["part_id"]: dict(found) for found in mine}
        for part_id in sorted(told.keys() | kept.keys()):
            if told.get(part_id) != kept.get(part_id):
                yield Finding(f"graded_part [{row.id}, {part_id}]", "does not say what its document says")
        named = select(graded_lining.c.part_id, graded_lining.c.lining)
        linings = connection.execute(named.where(graded_lining.c.grading_id == row.id))
        if {row["part_id"]: row["lining"] for row in lining_rows(document)} != {
            found.part_id: found.lining for found in linings
        }:
            yield Finding(f"graded_lining [{row.id}]", "does not say what its document says")


def _file(store: Store, sha256: str, size: int) -> Iterator[Finding]:
    path = photo_path(store, sha256)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        yield Finding(str(path), "this kept photo is missing")
        return
    except OSError as error:
        yield Finding(str(path), f"this kept photo cannot be read ({error.strerror})")
        return
    if hashlib.sha256(data).hexdigest() != sha256 or len(data) != size:
        yield Finding(str(path), "this kept photo was altered")
