"""The demo: photos of an invented shop, and what they show, in `demo_images/`."""

import tomllib
from pathlib import Path
from typing import Any

from wearview.errors import CallError
from wearview.settings import shipped_folder


def demo_folder() -> Path:
    """The folder `demo_images/`.

    Raises
    ------
    CallError
        When it is missing.
    """
    folder = shipped_folder("demo_images")
    if folder is None:
        raise CallError("demo_images", "the folder is missing", "Install the program again")
    return folder


def demo_job(folder: Path) -> dict[str, Any]:
    """The teardown that the folder's `teardown.toml` describes: its facts, elements, photos and verdicts.

    Raises
    ------
    CallError
        When it cannot be read.
    """
    path = folder / "teardown.toml"
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise CallError(str(path), "cannot be read as a teardown", "Install the program again") from error
