"""Where a command's text goes."""

import sys
from pathlib import Path

from wearview.files import write_whole


def write_text(target: str, text: str) -> None:
    """Write to a file, whole or not at all, or for "-" to standard output."""
    if target == "-":
        sys.stdout.write(text)
    else:
        write_whole(Path(target), text.encode("utf-8", "backslashreplace"))
