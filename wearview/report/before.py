"""What the report tells of an element from the rest of the record: as it was before, its lining elsewhere."""

from collections.abc import Iterator
from dataclasses import dataclass

from wearview.record import RENEWED, Comparison, Element, Known, Teardown, compare, lining_of, part_lines
from wearview.report.words import (
    DECISIONS,
    comparison_words,
    day,
    fate_words,
    line_words,
    lining_words,
    no_own_verdict,
)


@dataclass(frozen=True, slots=True)
class BeforeRow:
    """A position then and now: levels with their words, the verdict of then, what became of the part."""

    label: str
    then_level: int | None
    then: str
    decided: str
    now_level: int | None
    now: str
    became: str
    renewed: bool


@dataclass(frozen=True, slots=True)
class BeforeView:
    """An element at the unit's last teardown before this one, beside what it is now."""

    title: str
    rows: tuple[BeforeRow, ...]
    said: tuple[str, ...]


def before_view(teardown: Teardown, element: Element, known: Known) -> BeforeView | None:
    """The element at the unit's newest earlier teardown that graded it."""
    for earlier in known.earlier:
        for pair in compare(earlier, teardown):
            if pair.now is element and pair.then.latest is not None:
                title = f"{earlier.name}, opened {day(earlier.opened_at)}"
                return BeforeView(title, tuple(_before_rows(pair)), tuple(comparison_words(pair, teardown)))
    return None


def _before_rows(pair: Comparison) -> Iterator[BeforeRow]:
    whole = pair.then.pack_verdicts
    for row in pair.rows:
        decided = row.then.verdict if row.then else None
        yield BeforeRow(
            row.label,
            row.then.level if row.then else None,
            line_words(row.then),
            DECISIONS[decided.decision] if decided else no_own_verdict(whole),
            row.now.level if row.now else None,
            line_words(row.now),
            fate_words(row),
            row.fate == RENEWED,
        )


def lining_sentences(element: Element, known: Known) -> Iterator[str]:
    """How often each lining of the element was hot in this shop, where enough plates were seen."""
    if element.latest is None:
        return
    document = element.latest.document
    names = (lining_of(document, line.part) for line in part_lines(element))
    for name in dict.fromkeys(filter(None, names)):
        if name in known.linings and (said := lining_words(known.linings[name])):
            yield said
