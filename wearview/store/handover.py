"""Reports that were handed over, kept as they were."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from sqlalchemy import Connection, select

from wearview import __version__
from wearview.errors import CallError, OutputError
from wearview.files import reason
from wearview.store.connect import Store, reading, writing
from wearview.store.look import find_teardown
from wearview.store.names import now
from wearview.store.photos import keep_file, note_file
from wearview.store.seal import add_row
from wearview.store.tables import handover, handover_file


@dataclass(frozen=True, slots=True)
class Handover:
    """A report as it was handed over: when, by which program, and the sha256 of each file by its name."""

    handed_at: str
    program_version: str
    files: dict[str, str]


def keep_report(store: Store, teardown_name: str, files: Mapping[str, bytes]) -> Handover:
    """Keep the files of a report that is handed over. A later report is another handover.

    Raises
    ------
    CallError
        When the teardown is unknown, or there is no file.
    OutputError
        When a file cannot be kept. Nothing is then noted.
    """
    if not files:
        raise CallError(teardown_name, "no file was handed over", "Write the report first")
    with reading(store) as connection:
        find_teardown(connection, teardown_name)  # before files are copied
    kept = {name: keep_file(store, data) for name, data in files.items()}
    with writing(store) as connection:
        owner = find_teardown(connection, teardown_name)
        given = Handover(now(), __version__, kept)
        values = {
            "teardown_id": owner.id,
            "program_version": given.program_version,
            "handed_at": given.handed_at,
        }
        row_id = add_row(connection, handover, values)
        for name, key in kept.items():
            note_file(connection, key, len(files[name]))
            add_row(connection, handover_file, {"handover_id": row_id, "name": name, "sha256": key})
    return given


def hand_over(store: Store, teardown_name: str, written: Iterable[Path]) -> Handover:
    """Keep a report as it was written, unless it is the one handed over last: what was handed over when.

    Parameters
    ----------
    written : iterable of Path
        The report's files.

    Raises
    ------
    CallError
        When the teardown is unknown, or there is no file.
    OutputError
        When a file cannot be read or kept. Nothing is then noted.
    """
    files = {path.name: _written_bytes(path) for path in written}
    earlier = handovers(store, teardown_name)
    if earlier and earlier[-1].files == {name: sha256(data).hexdigest() for name, data in files.items()}:
        return earlier[-1]
    return keep_report(store, teardown_name, files)


def handovers(store: Store, teardown_name: str) -> list[Handover]:
    """The reports of a teardown that were handed over, oldest first. `photo_bytes` gives a file by its hash.

    Raises
    ------
    CallError
        When the teardown is unknown.
    """
    with reading(store) as connection:
        owner = find_teardown(connection, teardown_name)
        mine = select(handover).where(handover.c.teardown_id == owner.id).order_by(handover.c.id)
        return [
            Handover(row.handed_at, row.program_version, _files(connection, row.id))
            for row in connection.execute(mine).all()
        ]


def _written_bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise OutputError(str(path), f"cannot be read again ({reason(error)})", "Write it again") from error


def _files(connection: Connection, handover_id: int) -> dict[str, str]:
    mine = select(handover_file.c.name, handover_file.c.sha256).where(
        handover_file.c.handover_id == handover_id
    )
    return {row.name: row.sha256 for row in connection.execute(mine.order_by(handover_file.c.name))}
