"""The HTML templates with the words and colours they use, for reports and pages alike."""

import base64
from functools import cache
from typing import TYPE_CHECKING

from wearview.files import base_name
from wearview.palette import colour_of, ink_of, pattern_of
from wearview.report import words
from wearview.report.words import day
from wearview.terms import LINED_KINDS, NO_PASS, TINTS

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
        tints=TINTS,
    )
    environment.filters.update(day=day, basename=base_name, data_uri=data_uri)
    return environment


def data_uri(picture: bytes, kind: str = "jpeg") -> str:
    """A picture as text that stands inside a page; `kind` is "jpeg" or "png"."""
    return f"data:image/{kind};base64,{base64.b64encode(picture).decode('ascii')}"
