"""The same element of the same unit, as an earlier teardown found it and as it is now."""

from dataclasses import dataclass

from wearview.record.history import Element, PartLine, Teardown, part_lines


@dataclass(frozen=True, slots=True, eq=False)
class ThenNow:
    """What held one position, then and now; None where nothing was graded there."""

    label: str
    then: PartLine | None
    now: PartLine | None


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """An element in two teardowns of one unit, position by position."""

    earlier: Teardown
    then: Element
    now: Element
    rows: tuple[ThenNow, ...]


def compare(earlier: Teardown, now: Teardown) -> list[Comparison]:
    """The elements that both teardowns have, in the order of `now`; names are told without regard to case."""
    known = {element.name.casefold(): element for element in earlier.elements}
    return [
        Comparison(earlier, then, element, then_and_now(then, element))
        for element in now.elements
        if (then := known.get(element.name.casefold())) is not None
    ]


def then_and_now(then: Element, now: Element) -> tuple[ThenNow, ...]:
    """The newest grading of each, by position and side."""
    before, after = ({line.label: line for line in part_lines(element)} for element in (then, now))
    order = sorted((before | after).values(), key=lambda line: (line.part["position"], line.label))
    return tuple(ThenNow(line.label, before.get(line.label), after.get(line.label)) for line in order)
