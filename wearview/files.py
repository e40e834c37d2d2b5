"""Writing a file whole or not at all."""

import contextlib
import os
import tempfile
from pathlib import Path

from wearview.errors import OutputError


def write_whole(path: Path, data: bytes) -> None:
    """Put `data` at `path`, so that a reader sees the old file or the new one and never half of one.

    Written to a temporary name in the same folder, flushed to the disk, then renamed. Missing folders are
    made.

    Raises
    ------
    OutputError
        When the disk is full, the folder cannot be written, or something else stands in the way.
    """
    temporary = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=".writing-", dir=path.parent)
        with open(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, 0o666 & ~_umask())  # mkstemp makes a file that only its owner may read
        os.replace(temporary, path)
        _sync_folder(path.parent)
    except OSError as error:
        if temporary:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
        raise OutputError(str(path), f"could not be written ({reason(error)})", _remedy(error)) from error
    except BaseException:  # interrupted: leave nothing behind
        if temporary:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
        raise


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


def reason(error: OSError) -> str:
    """The operating system's words for an error, in lower case and without the path."""
    return (error.strerror or str(error) or type(error).__name__).lower()


def _remedy(error: OSError) -> str:
    if error.errno == 28:  # ENOSPC
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
