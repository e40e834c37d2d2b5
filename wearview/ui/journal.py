"""The journals of a tray: files to which a line is added for each thing said.

Benches that share a record share the folder too, and on a network's folder the lines of two computers that
write to one file at once can overwrite each other. So every running program writes to a file of its own, and
whoever reads puts the lines of all in one order: each line counts one more than any its writer had seen. What
is said in answer to another line so comes after it, whatever the clocks say.

References
----------
Lamport (1978), Time, clocks, and the ordering of events in a distributed system, Commun. ACM 21, 558-565
(from memory).
"""

import json
import os
import uuid
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from wearview.errors import OutputError
from wearview.files import make_folder, reason
from wearview.store import Store, trays_folders


def add_line(store: Store, name: str, what: str, said: Any) -> None:
    """Add a line to the journals of a name; it is on the disk when this returns.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    count = 1 + max((count for count, *_ in _lines(store, name)), default=0)
    path = trays_folders(store)[0] / f"{name}.{_writer()}.jsonl"
    make_folder(path.parent)
    # A line begins anew even after one that a stopped machine cut off.
    line = "\n" + json.dumps({"n": count, "what": what, "said": said}) + "\n"
    try:
        with open(path, "ab") as file:  # one write in append mode: lines of two threads never mix
            file.write(line.encode("ascii"))
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise OutputError(
            str(path), f"could not be written ({reason(error)})", "Free some space and try again"
        ) from error


def read_lines(store: Store, name: str) -> list[tuple[str, Any]]:
    """What was said under a name and of what, in order.

    Raises
    ------
    OutputError
        When a journal cannot be read.
    """
    return [(what, said) for *_, what, said in sorted(_lines(store, name), key=lambda line: line[:3])]


@cache
def _writer() -> str:
    """The name of this program among those that write."""
    return uuid.uuid4().hex[:12]


def _lines(store: Store, name: str) -> list[tuple[int, str, int, str, Any]]:
    """Count, writer and number of each line, and what it says, file by file."""
    paths = [path for folder in trays_folders(store) for path in folder.glob(f"{name}*.jsonl")]
    try:
        return [line for path in paths for line in _read(path, path.stat().st_size)]
    except OSError as error:
        path = Path(error.filename or paths[0])
        raise OutputError(
            str(path), f"cannot be read ({reason(error)})", "Bring it back from a backup"
        ) from error


@lru_cache(maxsize=16)
def _read(path: Path, size: int) -> tuple[tuple[int, str, int, str, Any], ...]:
    """The lines of a file; since it only grows, its size tells whether it was read before."""
    found = []
    with open(path, "rb") as file:
        text = file.read(size)
    for number, line in enumerate(filter(None, text.split(b"\n")), start=1):
        try:
            entry = json.loads(line)
        except ValueError:
            continue  # cut off when the machine stopped: nobody was told that it was kept
        # Journals from before there were several hold no counts.
        found.append((entry.get("n", number), path.name, number, entry["what"], entry["said"]))
    return tuple(found)
