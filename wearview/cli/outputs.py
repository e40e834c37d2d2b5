"""Where a command's text goes."""

import json
import sys
from pathlib import Path
from typing import Any

from wearview.files import write_whole


def write_text(target: str, text: str) -> None:
    """Write to a file, whole or not at all, or for "-" to standard output."""
    if target == "-":
        sys.stdout.write(text)
    else:
        write_whole(Path(target), text.encode("utf-8", "backslashreplace"))


def write_json(target: str, value: Any) -> None:
    """Write a value as JSON to a file or standard output."""
    write_text(target, json.dumps(value, allow_nan=False, indent=1) + "\n")
