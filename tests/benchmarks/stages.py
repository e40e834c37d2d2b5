"""Where the time of one grading goes, stage by stage."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch

import wearview.pipeline

# What a reader would call it: the pipeline's own stage functions.
STAGES = {
    "read": ("read_photo",),
    "quality": ("judge",),
    "find parts": ("find_parts",),
    "mat and chart": ("find_targets",),
    "light": ("_light", "match_light"),
    "rectify": ("rectify",),
    "kinds": ("settle_kinds",),
    "face": ("take_face",),
    "readings and grade": ("read_lining", "grade_lining", "read_steel", "grade_steel"),
    "pack": ("_pack",),
}


@contextmanager
def stage_seconds() -> Iterator[Counter[str]]:
    """Seconds that each stage of the pipeline takes while this is open."""
    spent: Counter[str] = Counter()
    with ExitStack() as stack:
        for stage, names in STAGES.items():
            for name in names:
                timed = _timed(getattr(wearview.pipeline, name), spent, stage)
                stack.enter_context(patch.object(wearview.pipeline, name, timed))
        yield spent


def _timed(function: Callable[..., Any], spent: Counter[str], stage: str) -> Callable[..., Any]:
    def timed(*args: Any, **kwargs: Any) -> Any:
        start = time.perf_counter()
        try:
            return function(*args, **kwargs)
        finally:
            spent[stage] += time.perf_counter() - start  # type: ignore[assignment]

    return timed
