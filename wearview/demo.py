"""The demo: photos of an invented shop, and what they show, in `demo_images/`."""

import tomllib
from pathlib import Path
from typing import Any

from wearview.errors import CallError


def demo_folder() -> Path:
    """The folder `demo_images/`: inside the package when installed, beside it in a checkout.

    Raises
    ------
    CallError
        When neither is there.
    """
    package = Path(__file__).resolve().parent
    for folder in (package / "demo_images", package.parent / "demo_images"):
        if folder.is_dir():
            return folder
    raise CallError("demo_images", "the folder is missing", "Install the program again")


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
