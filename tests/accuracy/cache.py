"""Where rendered scenes are kept between runs, outside the repository."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from platformdirs import user_cache_path

import tests.scenes


def scenes_folder() -> Path:
    """``$WEARVIEW_SCENES``, or a folder of the user's cache that changes with the code that makes scenes."""
    named = os.environ.get("WEARVIEW_SCENES")
    return Path(named) if named else user_cache_path("wearview") / "scenes" / scenes_version()


def scenes_version() -> str:
    """Twelve hex digits of the code that makes scenes."""
    digest = hashlib.sha256()
    for path in sorted(Path(tests.scenes.__path__[0]).glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]
