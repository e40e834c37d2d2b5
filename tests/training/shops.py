"""Which photos share a shop, its linings and its steels, so that a fit leaves them out together."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any


def shop_of(folder: Path, truth: Mapping[str, Any]) -> str:
    """The clean photo that a scene names, itself where it is one or names none."""
    return f"{folder}/{truth['reference'] or truth['photo']}"
