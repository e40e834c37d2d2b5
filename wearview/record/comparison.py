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
    """Every element of the earlier teardown beside what it is now, in the order of `now`, the others after.

    Names are told without regard to case. An element that `now` does not have is an empty one there.
    """
    order = [element.name.casefold() for element in now.elements]
    current = {element.name.casefold(): element for element in now.elements}
    pairs = []
    for then in earlier.elements:
        element = current.get(then.name.casefold()) or Element(then.name, None, (), ())
        pairs.append(Comparison(earlier, then, element, then_and_now(then, element)))
    return sorted(pairs, key=lambda pair: _place(order, pair.now.name.casefold()))


def _place(order: list[str], name: str) -> int:
    return order.index(name) if name in order else len(order)


def then_and_now(then: Element, now: Element) -> tuple[ThenNow, ...]:
    """The newest grading of each, by position and side."""
    before, after = ({line.label: line for line in part_lines(element)} for element in (then, now))
    order = sorted((before | after).values(), key=lambda line: (line.part["position"], line.label))
    return tuple(ThenNow(line.label, before.get(line.label), after.get(line.label)) for line in order)
