"""Where the time of one grading goes, stage by stage."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch

from tests.benchmarks.clock import NONE, Seconds, now
from wearview import look, pipeline

# What a reader would call it: the stage functions as one photo and the pipeline call them.
STAGES = {
    "read": ("read_photo", "read_in_full"),
    "quality": ("judge",),
    "find parts": ("see", "find_parts"),
    "mat and chart": ("find_targets",),
    "light": ("_light", "match_light"),
    "rectify": ("rectify",),
    "kinds": ("settle_kinds",),
    "face": ("take_face",),
    "which lining": ("choose",),
    "readings and grade": ("read_lining", "grade_lining", "read_steel", "grade_steel"),
    "pack": ("_pack",),
}


@contextmanager
def stage_seconds() -> Iterator[dict[str, Seconds]]:
    """Seconds that each stage of the pipeline takes while this is open."""
    spent: dict[str, Seconds] = defaultdict(lambda: NONE)
    with ExitStack() as stack:
        for stage, names in STAGES.items():
            for name in names:
                module = look if hasattr(look, name) else pipeline
                stack.enter_context(patch.object(module, name, _timed(getattr(module, name), spent, stage)))
        yield spent


def _timed(function: Callable[..., Any], spent: dict[str, Seconds], stage: str) -> Callable[..., Any]:
    def timed(*args: Any, **kwargs: Any) -> Any:
        start = now()
        try:
            return function(*args, **kwargs)
        finally:
            spent[stage] = spent[stage].plus(now().since(start))

    return timed
