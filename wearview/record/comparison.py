"""The same element of the same unit, as an earlier teardown found it and as it is now."""

from dataclasses import dataclass

from wearview.record.history import Element, PartLine, Teardown, part_lines
from wearview.record.orders import OrderLine, parts_list

# What became of the part that lay at a position then, by the verdict of then.
RENEWED, KEPT, UNTOLD = "renewed", "kept", "untold"
_KEEPS = ("reuse", "leave", "resurface")


@dataclass(frozen=True, slots=True, eq=False)
class ThenNow:
    """What held one position, then and now; None where nothing was graded there.

    `fate` is `RENEWED` where the verdicts of then replaced the part, so that what lies there now was new
    then; `KEPT` where they left it in; `UNTOLD` where nobody decided.
    """

    label: str
    then: PartLine | None
    now: PartLine | None
    fate: str = UNTOLD

    @property
    def change(self) -> int | None:
        """Levels now less levels then, whoever's part it is; None where the two cannot be set against each
        other: not graded, another kind of part, or compared with the cleanest plate only."""
        if self.then is None or self.now is None or self.then.part["kind"] != self.now.part["kind"]:
            return None
        before, after = self.then.part["grade"], self.now.part["grade"]
        if not before or not after or before["relative"] or after["relative"]:
            return None
        return int(after["level"] - before["level"])


@dataclass(frozen=True, slots=True)
class Profile:
    """An element as a whole: parts that were graded, those that show heat (level 1 or more), the worst level
    with its position, and the pack's pattern where it has one."""

    graded: int
    hot: int
    worst: int | None
    worst_at: str | None
    pattern: str | None


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """An element in two teardowns of one unit, position by position; `new` is what was replaced then."""

    earlier: Teardown
    then: Element
    now: Element
    rows: tuple[ThenNow, ...]
    new: tuple[OrderLine, ...] = ()

    @property
    def profiles(self) -> tuple[Profile, Profile]:
        """Then and now."""
        return _profile(self.then), _profile(self.now)

    @property
    def changes(self) -> tuple[int, ...]:
        """The change of each position that was graded both times."""
        return tuple(change for row in self.rows if (change := row.change) is not None)

    @property
    def other_rules(self) -> bool:
        """Whether the two were graded by different rules, so that a level may mean another amount of heat."""
        graded = [element.latest for element in (self.then, self.now) if element.latest]
        return len({grading.document["rules"]["id"] for grading in graded}) > 1


def compare(earlier: Teardown, now: Teardown) -> list[Comparison]:
    """Every element of the earlier teardown beside what it is now, in the order of `now`, the others after.

    Names are told without regard to case. An element that `now` does not have is an empty one there.
    """
    order = [element.name.casefold() for element in now.elements]
    current = {element.name.casefold(): element for element in now.elements}
    replaced = parts_list(earlier)
    pairs = []
    for then in earlier.elements:
        element = current.get(then.name.casefold()) or Element(then.name, None, (), ())
        new = tuple(line for line in replaced if line.element == then.name)
        pairs.append(Comparison(earlier, then, element, then_and_now(then, element, new), new))
    return sorted(pairs, key=lambda pair: _place(order, pair.now.name.casefold()))


def _place(order: list[str], name: str) -> int:
    return order.index(name) if name in order else len(order)


def then_and_now(then: Element, now: Element, new: tuple[OrderLine, ...] = ()) -> tuple[ThenNow, ...]:
    """The newest grading of each, by position and side."""
    before, after = ({line.label: line for line in part_lines(element)} for element in (then, now))
    order = sorted((before | after).values(), key=lambda line: (line.part["position"], line.label))
    return tuple(
        ThenNow(line.label, before.get(line.label), after.get(line.label), _fate(line, then, new))
        for line in order
    )


def _fate(line: PartLine, then: Element, new: tuple[OrderLine, ...]) -> str:
    """What became of the part at a position: what was ordered, else its own verdict or the pack's."""
    position = line.part["position"]
    for ordered in new:
        # A pack that is renewed whole takes along what no photo of then shows.
        if position in ordered.positions or (ordered.whole and not _held(position, new)):
            return KEPT if position in ordered.kept else RENEWED
    own = [
        lay.verdict
        for lay in part_lines(then)
        if lay.part["position"] == position and lay.verdict is not None
    ]
    given = own or list(then.pack_verdicts[-1:])
    return KEPT if given and all(verdict.decision in _KEEPS for verdict in given) else UNTOLD


def _held(position: int, new: tuple[OrderLine, ...]) -> bool:
    return any(position in ordered.positions for ordered in new)


def _profile(element: Element) -> Profile:
    lines = [line for line in part_lines(element) if line.level is not None]
    worst = max(lines, key=lambda line: line.level or 0, default=None)
    pack = element.latest.document["pack"] if element.latest else None
    return Profile(
        len(lines),
        sum((line.level or 0) >= 1 for line in lines),
        worst.level if worst else None,
        worst.label if worst else None,
        pack["pattern"] if pack else None,
    )
