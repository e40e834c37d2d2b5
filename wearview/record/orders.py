"""What to order, from the verdicts that hold now."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from wearview.record.document import parts_of
from wearview.record.history import Element, PartLine, Teardown, part_lines
from wearview.record.verdict import Verdict

REPLACE = "replace"


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One line of a parts list.

    Attributes
    ----------
    element : str
    part : str
        The kind of part, "whole pack" where its parts are not known, or the name of a part outside a pack.
    count : int or None
        How many to order; None where nobody has counted.
    positions : tuple of int
        Where they lay.
    reasons, notes : tuple of str
        Of the verdicts, each once, in the order given.
    whole : bool
        Whether it is ordered because the pack as a whole is replaced.
    kept : tuple of int
        Of the positions, those with a newer verdict of their own that is not to replace: to be settled
        before ordering.
    """

    element: str
    part: str
    count: int | None
    positions: tuple[int, ...]
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    whole: bool
    kept: tuple[int, ...] = ()


def parts_list(teardown: Teardown) -> list[OrderLine]:
    """What the newest verdicts say to replace.

    A pack marked "replace" is listed whole, by kind, whatever single plates were judged to be; else its
    plates marked so. Both sides of a plate are one plate. Then the parts outside it.
    """
    return [line for element in teardown.elements for line in _of(element)]


def _of(element: Element) -> Iterator[OrderLine]:
    lines = part_lines(element)
    whole = element.pack_verdicts[-1] if element.pack_verdicts else None
    if whole is not None and whole.decision == REPLACE:
        yield from _whole_pack(element, lines, whole)
    else:
        yield from _single_plates(element, lines)
    for name, given in element.named_verdicts.items():
        if given[-1].decision == REPLACE:
            yield OrderLine(element.name, name, 1, (), _reasons(given[-1:]), _notes(given[-1:]), False)


def _single_plates(element: Element, lines: list[PartLine]) -> Iterator[OrderLine]:
    marked = [(line.part, line.verdict) for line in lines if line.verdict]
    judged = {part["position"] for part, _ in marked}
    marked += [(part, v) for part, v in _judged_before(element) if part["position"] not in judged]
    kinds: dict[str, dict[int, list[Verdict]]] = {}
    for part, verdict in marked:
        if verdict.decision == REPLACE:
            kinds.setdefault(part["kind"], {}).setdefault(part["position"], []).append(verdict)
    for kind, places in kinds.items():
        given = [verdict for verdicts in places.values() for verdict in verdicts]
        positions = tuple(sorted(places))
        yield OrderLine(element.name, kind, len(positions), positions, _reasons(given), _notes(given), False)


def _judged_before(element: Element) -> Iterator[tuple[dict, Verdict]]:
    """Parts that were judged on photos no longer graded, taken again since, with their newest verdict."""
    newest = {v.part_id: v for v in element.verdicts_on_earlier_photos}
    parts = {part["id"]: part for g in element.gradings for _, part in parts_of(g.document)}
    yield from ((parts[part_id], v) for part_id, v in newest.items() if part_id in parts)


def _whole_pack(element: Element, lines: list[PartLine], verdict: Verdict) -> Iterator[OrderLine]:
    reasons, notes = _reasons([verdict]), _notes([verdict])
    places: dict[str, dict[int, bool]] = {}  # kind to position, and whether that plate is to stay
    for line in lines:
        v = line.verdict
        stays = v is not None and v.decision != REPLACE and v.given_at > verdict.given_at
        places.setdefault(line.part["kind"], {})[line.part["position"]] = stays
    if not lines:
        yield OrderLine(element.name, "whole pack", element.duty.plates, (), reasons, notes, True)
    for kind, seen in places.items():
        kept = tuple(position for position, stays in seen.items() if stays)
        yield OrderLine(element.name, kind, len(seen), tuple(seen), reasons, notes, True, kept)
    missing = (element.duty.plates or 0) - sum(len(seen) for seen in places.values())
    if lines and missing > 0:
        yield OrderLine(element.name, "plate in no photo", missing, (), reasons, notes, True)


def _reasons(given: Iterable[Verdict]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(v.reason for v in given if v.reason))


def _notes(given: Iterable[Verdict]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(v.note for v in given if v.note))
