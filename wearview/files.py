"""Writing a file whole or not at all, and what a file is called."""

import contextlib
import errno
import os
import tempfile
import time
import uuid
from collections.abc import Iterator
from pathlib import Path, PureWindowsPath
from typing import BinaryIO

from wearview.errors import OutputError, WearviewError

# How the names of files begin that are being written, here and in `write_new`.
_UNFINISHED = (".writing-", ".new-")
ABANDONED_S = 24 * 3600  # no file takes a day to write


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """A file to write to that takes its place at `path` when the block ends, and leaves nothing if it fails.

    A reader sees the old file or the new one, never half of one: the bytes go to a temporary name in the same
    folder, are flushed to the disk, then renamed. Missing folders are made.

    Raises
    ------
    OutputError
        When the disk is full, the folder cannot be written, or something else stands in the way.
    """
    temporary: str | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=_UNFINISHED[0], dir=path.parent)
        with open(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, 0o666 & ~_umask())  # mkstemp makes a file that only its owner may read
        os.replace(temporary, path)
        temporary = None
        _sync_folder(path.parent)
    except WearviewError:  # already in words; some of them are OSErrors too
        raise
    except OSError as error:
        raise OutputError(str(path), f"could not be written ({reason(error)})", _remedy(error)) from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def write_whole(path: Path, data: bytes) -> None:
    """Put `data` at `path` by `whole_file`."""
    with whole_file(path) as file:
        file.write(data)


def write_new(path: Path, data: bytes) -> bool:
    """Put `data` at `path` whole if nothing stands there; False, and nothing done, if something does.

    Of several who write at once one succeeds, since a hard link never takes a name that is taken.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    whole = path.with_name(f".new-{uuid.uuid4().hex}")
    write_whole(whole, data)
    try:
        os.link(whole, path)
    except FileExistsError:
        return False
    except OSError as error:
        raise OutputError(str(path), f"could not be written ({reason(error)})", _remedy(error)) from error
    finally:
        with contextlib.suppress(OSError):
            os.unlink(whole)
    _sync_folder(path.parent)
    return True


def remove_unfinished(folder: Path) -> int:
    """Remove what programs that were stopped left of the files they were writing; how many.

    Only what nothing was written to for a day: another program may be at work on the rest.
    """
    removed = 0
    with contextlib.suppress(OSError):
        for path in folder.iterdir():
            if not path.name.startswith(_UNFINISHED):
                continue
            with contextlib.suppress(OSError):
                if time.time() - path.lstat().st_mtime > ABANDONED_S:
                    path.unlink()
                    removed += 1
    return removed


def make_folder(path: Path) -> None:
    """Make a folder and those above it, if they are missing.

    Raises
    ------
    OutputError
        When it cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(str(path), f"is no folder to write to ({reason(error)})", _remedy(error)) from error


def base_name(path: str) -> str:
    """The file's own name, after either kind of slash: the shop's folders stay in the shop."""
    return PureWindowsPath(path).name


def reason(error: OSError) -> str:
    """The operating system's words for an error, in lower case and without the path."""
    return (error.strerror or str(error) or type(error).__name__).lower()


def _remedy(error: OSError) -> str:
    if error.errno == errno.ENOSPC:
        return "Free some space and run it again"
    return "Choose a folder that can be written to"


def _sync_folder(folder: Path) -> None:
    """Make a rename outlast a power cut, where the system lets a folder be opened."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
