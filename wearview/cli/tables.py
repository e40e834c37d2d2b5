"""What was graded, as text for a terminal."""

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from wearview.files import base_name
from wearview.record import HIDDEN, Duty, Element, PartLine, Teardown, Verdict, miscount, unexpected_heat
from wearview.terms import GAP, NO_PASS, PROBLEMS, SHOTS_DISAGREE, TINTS, how_many

WIDTH = 100
RELATIVE = "Compared with the cleanest plate only: level 0 means the cleanest here."


def printable(text: str) -> str:
    """Text on one line that cannot steer a terminal."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def wrapped(text: str, first: str = "", then: str = "") -> str:
    """A sentence in lines that fit a terminal, `first` before the first and `then` before the others; a level
    such as heat-marked stays in one piece."""
    return textwrap.fill(text, WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False)


def table(header: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()) -> str:
    """Columns in line, those of `right` set to the right; empty columns are left out."""
    cells = [[printable(cell) for cell in row] for row in rows]
    kept = [i for i in range(len(header)) if any(row[i] for row in cells)]
    widths = {i: max(len(header[i]), *(len(row[i]) for row in cells)) for i in kept}
    lines = [header, *cells] if cells else []
    return "\n".join(
        "  ".join(line[i].rjust(widths[i]) if i in right else line[i].ljust(widths[i]) for i in kept).rstrip()
        for line in lines
    )


def pack_text(title: str, document: dict[str, Any], lines: Sequence[PartLine]) -> str:
    """The table of one pack, then what it shows in sentences, then photos without a part."""
    with_verdicts = any(line.verdict for line in lines)
    header = ["pos", "part", "heat level", "score", "dE med", "over 10", "glaze", "tint", "problem"]
    header += ["verdict"] if with_verdicts else []
    rows = [[*_measured(line), *([verdict_cell(line.verdict)] if with_verdicts else [])] for line in lines]
    paragraphs = [_heading(title, document)]
    if rows:
        paragraphs.append(table(header, rows, right=(3, 4, 5, 6)))
    sentences = list(_sentences(document, lines))
    if sentences:
        paragraphs.append("\n".join(sentences))
    return "\n\n".join(paragraphs)


def grade_text(line: PartLine) -> str:
    """The grade in words: "3 burnt", "cannot tell", or "hidden" before a blind verdict."""
    if line.level is None:
        return "hidden" if HIDDEN in line.part["problems"] else "cannot tell"
    return f"{line.level} {line.part['grade']['name']}"


def verdict_text(verdict: Verdict) -> str:
    """A verdict in words: "replace, heat 2 (wish): asked for new plates"."""
    heat = "" if verdict.heat is None else f", heat {verdict.heat}"
    reason = f" ({verdict.reason})" if verdict.reason else ""
    note = f': "{verdict.note}"' if verdict.note else ""
    by = f" [{verdict.by}]" if verdict.by else ""
    return printable(f"{verdict.decision}{heat}{reason}{note}{by}")


def verdict_cell(verdict: Verdict | None) -> str:
    """A verdict as short as a table takes it; nothing where there is none."""
    if verdict is None:
        return ""
    heat = "" if verdict.heat is None else f" heat {verdict.heat}"
    return f"{verdict.decision}{heat}" + (f" ({verdict.reason})" if verdict.reason else "")


def duty_text(duty: Duty) -> str:
    """The duty of an element in words; nothing where none is stated."""
    said = [
        f"applied in {duty.applied}" if duty.applied else None,
        f"its piston pushes {duty.direction}" if duty.direction else None,
        how_many(duty.plates, "plate") if duty.plates else None,
        f"expected: {duty.told}" if duty.told else None,
    ]
    return printable("; ".join(part for part in said if part))


def yes_or_no(typed: str | None) -> bool | None:
    """What was typed of "yes" and "no"; None of nothing."""
    return None if typed is None else typed == "yes"


def news_text(teardown: Teardown) -> str:
    """Heat where none is expected, an element a line; nothing where there is none."""
    lines = []
    for element in teardown.elements:
        if hot := unexpected_heat(element):
            places = ", ".join(f"{line.label} ({grade_text(line)})" for line in hot)
            told = printable(f"{element.name}, expected: {element.expectation}; position {places}")
            lines.append(wrapped(told, "  ", "    "))
    return "\n".join(["heat where none is expected:", *lines]) if lines else ""


def element_text(element: Element, lines: Sequence[PartLine]) -> str:
    """An element of the record: its pack, then verdicts on the pack and on parts outside it."""
    if element.latest is None:
        paragraphs = [printable(element.name)]
    else:
        paragraphs = [pack_text(element.name, element.latest.document, lines)]
    told_duty = [duty_text(element.duty)] if element.duty != Duty() else []
    if wrong := miscount(element):
        told_duty.append(wrong)
    if told_duty:
        paragraphs.append("\n".join(wrapped(line) for line in told_duty))
    told = [f"verdict on the pack: {verdict_text(v)}" for v in element.pack_verdicts[-1:]]
    told += [
        f"{printable(name)}: {verdict_text(given[-1])}" for name, given in element.named_verdicts.items()
    ]
    told += [
        f"earlier photo, position {v.target}: {verdict_text(v)}" for v in element.verdicts_on_earlier_photos
    ]
    return "\n\n".join(
        [*paragraphs, *(["\n".join(wrapped(line, then="  ") for line in told)] if told else [])]
    )


def _heading(title: str, document: dict[str, Any]) -> str:
    compared = _compared(document["reference"])
    heading = printable(f"{title} ({compared}; {document['rules']['id']})")
    return f"{heading}\n{'-' * min(len(heading), WIDTH)}"


def _compared(reference: dict[str, Any]) -> str:
    return {
        "photo": f"compared with {base_name(reference['file'] or '')}",
        "library": f"compared with lining {reference['lining']}",
        "cleanest part": "compared with the cleanest plate only",
        "none": "nothing clean to compare with",
    }[reference["source"]]


def _measured(line: PartLine) -> list[str]:
    part = line.part
    grade, shade, glazing = part["grade"], part["discoloration"], part["glazing"]
    return [
        line.label,
        part["kind"],
        grade_text(line),
        _number(grade and grade["score"], ".2f"),
        _number(shade and shade["delta_e00_median"], ".1f"),
        _number(shade and shade["area_over_10"], ".0%"),
        _number(glazing and glazing["index"], ".0f"),
        _tint(part["heat_tint"]),
        _doubt(part),
    ]


def _number(value: float | None, form: str) -> str:
    return "" if value is None else format(value, form)


def _tint(tint: dict[str, Any] | None) -> str:
    """The three hottest tints that cover a percent or more, and the hot spots."""
    if tint is None:
        return ""
    seen = [f"{name} {tint['area'][name]:.0%}" for name in reversed(TINTS[1:]) if tint["area"][name] >= 0.01]
    count = tint["hot_spots"]["count"]
    spots = [how_many(count, "hot spot")] if count else []
    return ", ".join([*seen[:3], *spots]) or "bare"


def _doubt(part: dict[str, Any]) -> str:
    """What kept a part from a grade, or else its first doubt."""
    refusing = [name for name in part["problems"] if name in PROBLEMS and PROBLEMS[name].refuses]
    return (refusing or part["problems"] or [""])[0]


def _sentences(document: dict[str, Any], lines: Sequence[PartLine]) -> Iterator[str]:
    pack = document["pack"]
    if pack is not None:
        yield f"pattern: {pack['pattern']}"
        yield from (_bullet(sentence) for sentence in pack["explanation"])
        if pack["advice"]:
            yield "to check:"
            yield from (_bullet(sentence) for sentence in pack["advice"])
    for photo in document["photos"]:
        if not photo["parts"]:
            yield from (_remedy(base_name(photo["file"]), name) for name in photo["quality"]["problems"])
    doubts = (name for photo in document["photos"] if photo["parts"] for name in photo["quality"]["problems"])
    yield from (_remedy("note", name) for name in dict.fromkeys(doubts))
    if pack is None:  # a pack's advice holds the remedies of its own parts
        ungraded = (line.part for line in lines if line.level is None and line.part["problems"])
        yield from dict.fromkeys(map(_why_ungraded, ungraded))
    for line in lines:
        if own := line.part.get("reference"):
            yield printable(f"position {line.label}: {_compared(own)}")
    yield from (
        _remedy(f"position {line.label}", name)
        for name in (SHOTS_DISAGREE, GAP)
        for line in lines
        if name in line.part["problems"]
    )
    if any(line.part["grade"] and line.part["grade"]["relative"] for line in lines):
        yield RELATIVE
    if lines:
        yield NO_PASS


def _why_ungraded(part: dict[str, Any]) -> str:
    """What kept a part from a grade and what to do: in the words of its own case, where there are any."""
    if own := part.get("ungraded_because"):
        return wrapped(printable(f"cannot tell: {' '.join(own)}"), then="  ")
    name = _doubt(part)
    return _remedy("hidden" if name == HIDDEN else "cannot tell", name)


def _remedy(subject: str, name: str) -> str:
    problem = PROBLEMS.get(name)
    told = f"{problem.text} {problem.remedy}" if problem else name
    return wrapped(printable(f"{subject}: {told}"), then="  ")


def _bullet(sentence: str) -> str:
    return wrapped(printable(sentence), "  - ", "    ")
