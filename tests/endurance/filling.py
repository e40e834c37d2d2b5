"""A disk that fills up while packs are stored; what is left is looked through each time."""

import contextlib
import os
import random
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.endurance.packs import TEARDOWN, history, is_beginning, new_pack, store_pack
from wearview import store as record
from wearview.errors import OutputError

DISK_KB = 24_000


@dataclass
class Filled:
    """How often the disk was full, how often it was refused in words, and what was found afterwards."""

    times: int = 0
    refused: int = 0
    faults: list[str] = field(default_factory=list)


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """A disk of a few MB of our own; needs root.

    Raises
    ------
    OSError
        When it cannot be mounted here.
    """
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={DISK_KB}k", "tmpfs", str(folder)]
    if shutil.which("mount") is None or subprocess.run(mount, capture_output=True, check=False).returncode:
        raise OSError("no disk can be mounted here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def fill_while_storing(disk: Path, times: int, seed: int = 1) -> Filled:
    """Store packs on a disk with a random rest of space, from none to more than a pack needs."""
    chance = random.Random(seed)
    url = f"sqlite:///{disk}/record.sqlite"
    store = record.open_store(url)
    record.new_teardown(store, TEARDOWN)
    store_pack(store, new_pack())
    found = Filled()
    for _ in range(times):
        before = history(store)
        with _filled(disk, chance.randrange(0, 320_000)):
            found.times += 1
            try:
                store_pack(record.open_store(url), new_pack())
            except OutputError:
                found.refused += 1
        store = record.open_store(url)
        found.faults += [f"{f.where}: {f.problem}" for f in record.check_record(store).findings]
        if not is_beginning(before, history(store)):
            found.faults.append("something earlier has changed")
        if shutil.disk_usage(disk).free < DISK_KB * 1024 // 2:
            break  # the record itself has filled the disk
    return found


@contextlib.contextmanager
def _filled(disk: Path, rest: int) -> Iterator[None]:
    """The disk with no more than `rest` bytes free."""
    ballast = disk / "ballast"
    page = os.sysconf("SC_PAGE_SIZE")
    size = max(0, shutil.disk_usage(disk).free - rest) // page * page
    with open(ballast, "wb") as file:
        os.posix_fallocate(file.fileno(), 0, size)
    try:
        yield
    finally:
        ballast.unlink()
