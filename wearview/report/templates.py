"""The HTML templates with the words and colours they use, for reports and pages alike."""

from functools import cache
from typing import TYPE_CHECKING

from wearview.palette import colour_of, ink_of, pattern_of
from wearview.report import words
from wearview.report.view import base_name, day
from wearview.terms import LINED_KINDS, NO_PASS, PROBLEMS, TINTS

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def templates() -> "Environment":
    """Every template of the package; whatever is put into one is text, never markup."""
    from jinja2 import Environment, PackageLoader, StrictUndefined  # 60 ms that grading without pages saves

    environment = Environment(
        loader=PackageLoader("wearview"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(
        colour_of=colour_of,
        ink_of=ink_of,
        pattern_of=pattern_of,
        words=words,
        no_pass=NO_PASS,
        lined=LINED_KINDS,
        problems=PROBLEMS,
        tints=TINTS,
    )
    environment.filters.update(day=day, basename=base_name)
    return environment
