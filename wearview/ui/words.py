"""Pieces of a page as HTML, from the same templates and words as the report."""

import base64
from collections.abc import Callable, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from wearview.record import (
    CheckLine,
    Comparison,
    Document,
    Element,
    Measured,
    PartLine,
    Suggestion,
    Teardown,
    Verdict,
)
from wearview.report.packpic import pack_picture
from wearview.report.templates import templates
from wearview.terms import CAUTIONS

if TYPE_CHECKING:
    from wearview.library import StoredLining

FONT = "system-ui, sans-serif"
PROFILE_SCALE = 0.55, 1.0  # px of the window for one of the drawing: numbers stay legible, and no poster
_MARKDOWN = frozenset("\\`*_{}[]()<>#+-.!|~$:&^=\"'/@%")


def row_html(lines: list[PartLine]) -> str:
    """The pack as a row of heat levels from the apply end on; empty for a band or one part."""
    return _pieces("plates.html").row(lines)


def profile_html(lines: list[PartLine], name: str, alt: str) -> str:
    """The heat score by position as a drawing. Empty for bands, under two positions and without a score."""
    picture = pack_picture([line.part for line in lines])
    if picture is None or not picture.lines:
        return ""
    svg = _pieces("drawings.svg").profile_svg(picture, name, FONT).strip()
    least, most = (round(share * picture.profile_width) for share in PROFILE_SCALE)
    return drawing_html(svg, "Heat score by position", alt, least, most)


def drawing_html(svg: str, name: str, alt: str, least: int, most: int) -> str:
    """A drawing between `least` and `most` px wide; it scrolls in a frame of its own where a phone is too
    narrow for its numbers."""
    data = base64.b64encode(svg.encode()).decode("ascii")
    return (
        f'<div class="wv wv-drawing" style="max-width:{most}px" tabindex="0" role="region" '
        f'aria-label="{name}"><img style="min-width:{least}px" '
        f'src="data:image/svg+xml;base64,{data}" alt="{escape(alt, quote=True)}"></div>'
    )


def plate_html(line: PartLine, reference: dict[str, Any]) -> str:
    """One part in full; `reference` is what its document compares with."""
    return _pieces("plate.html").plate(line, reference)


def decided_html(line: PartLine, whole: tuple[Verdict, ...]) -> str:
    """What the technician decided on a part, earlier verdicts after the one that holds; else on its pack."""
    return _pieces("plate.html").decided(line, whole)


def plate_style(lines: list[PartLine], chosen: PartLine) -> str:
    """CSS that gives each part's button the colour and pattern of its level."""
    return _pieces("plate_style.css").style(lines, chosen)


def parts_html(lines: list[PartLine], whole: tuple[Verdict, ...]) -> str:
    """The table of parts with their numbers, reasons and verdicts; `whole` are those on their pack."""
    return _pieces("plates.html").parts(lines, whole)


def pack_html(document: Document, lines: list[PartLine]) -> str:
    """What the pack shows, what to check, which photos failed, and what all this is compared with."""
    return _pieces("plates.html").pack(document, lines)


def job_html(teardown: Teardown) -> str:
    """The unit, the customer and his wish."""
    return _pieces("page_facts.html").job(teardown)


def said_html(element: Element) -> str:
    """What the shop expects of an element, and verdicts that stand in no row of its table."""
    return _pieces("page_facts.html").said(element)


def suggested_html(found: list[Suggestion]) -> str:
    """What the shop's policy suggests; empty where it suggests nothing."""
    return _pieces("page_facts.html").suggested(found)


def then_and_now_html(pair: Comparison, now: Teardown) -> str:
    """How an element changed since an earlier teardown, as a whole and plate by plate."""
    return _pieces("plates.html").then_and_now(pair, now)


def linings_html(kept: "list[StoredLining]", dark_below: float) -> str:
    """The shop's clean linings in a table."""
    return _pieces("page_facts.html").linings(kept, dark_below)


def found_html(lines: Sequence[CheckLine], address: Callable[[str], str]) -> str:
    """The checklist with what was found; empty where there is nothing to show."""
    return _pieces("page_beside.html").found(lines, address) if lines else ""


def measured_html(measured: Sequence[Measured], address: Callable[[str], str]) -> str:
    """The measured values with their photos, those out of limit marked."""
    return _pieces("page_beside.html").measured(measured, address)


def show_customer_html(address: str) -> str:
    """The way to the report on the counter."""
    return _pieces("page_facts.html").show_customer(address)


def cautions_html() -> str:
    """What nobody may overlook."""
    items = "".join(f"<li>{caution}</li>" for caution in CAUTIONS)
    return f'<div class="wv wv-cautions"><strong>Cautions</strong><ul>{items}</ul></div>'


def plain(text: str) -> str:
    """Text that Markdown leaves as it is: a file's name may hold a link or a picture from elsewhere."""
    return "".join(f"\\{c}" if c in _MARKDOWN else c for c in text)


def _pieces(template: str) -> Any:
    """The macros of a template."""
    return templates().get_template(template).module
