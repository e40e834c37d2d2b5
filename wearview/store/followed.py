"""The plates of one lining over all teardowns, without those whose grade may not be seen yet."""

from collections.abc import Mapping
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Row, Select, func, select

from wearview.record import (
    PACK,
    Followed,
    Known,
    LinedPlate,
    Teardown,
    follow,
    lining_of,
    parse_mileage,
    parts_of,
    places_from_reaction_end,
)
from wearview.store.connect import Store, reading
from wearview.store.look import earlier_teardowns, with_facts
from wearview.store.tables import (
    element,
    graded_lining,
    graded_part,
    grading,
    teardown,
    teardown_facts,
    verdict,
)
from wearview.terms import LINED_KINDS


def lining_names(store: Store) -> list[str]:
    """Every lining that a stored part was compared with."""
    with reading(store) as connection:
        query = select(graded_lining.c.lining).distinct().order_by(graded_lining.c.lining)
        return list(connection.scalars(query))


def followed(store: Store, lining: str) -> Followed:
    """How the plates and bands of a lining were found, over the newest grading of every element.

    Plates that are judged blind and have no verdict so far are left out.
    """
    with reading(store) as connection:
        packs, shown = _packs(connection), _shown(connection)
        parts = list(connection.execute(_parts(lining)))
        named = connection.execute(_named(lining))
        mine = {(row.grading_id, row.part_id) for row in named}
    plates: list[LinedPlate] = []
    for grading_id, group in groupby(parts, key=lambda row: row.grading_id):
        if (pack := packs.get(grading_id)) is not None:
            found = list(group)
            places = places_from_reaction_end((row.kind, row.position) for row in found)
            seen = [
                row for row in found if (grading_id, row.part_id) in mine and _may_be_seen(pack, row, shown)
            ]
            for position, sides in groupby(seen, key=lambda row: row.position):
                plates.append(_plate(pack, list(sides), places.get(position)))
    return follow(lining, plates)


def known_of(store: Store, teardown: Teardown) -> Known:
    """What the record knows beside a teardown that it gave."""
    documents = [element.latest.document for element in teardown.elements if element.latest]
    named = {lining_of(document, part) for document in documents for _, part in parts_of(document)}
    linings = {name: followed(store, name) for name in sorted(filter(None, named))}
    return Known(tuple(earlier_teardowns(store, teardown.name)), linings)


def lining_rows(document: Mapping[str, Any]) -> list[dict[str, str]]:
    """What `graded_lining` holds of a document, all but the grading's id."""
    named = [(part["id"], lining_of(document, part)) for _, part in parts_of(document)]
    return [{"part_id": part_id, "lining": name} for part_id, name in named if name is not None]


def _plate(pack: Row, sides: list[Row], place: int | None) -> LinedPlate:
    """One plate of the rows of its sides."""
    levels = [row.level for row in sides if row.level is not None]
    return LinedPlate(
        pack.serial_key or f" {pack.teardown_id}",  # no serial has a blank in its key
        str(pack.element_id),
        place,
        max(levels, default=None),
        None if pack.mileage is None else parse_mileage(pack.mileage),
    )


# Three plain queries: as one, SQLite's planner took half a minute for 60,000 plates.
def _packs(connection: Connection) -> dict[int, Row]:
    """The newest grading of each element, with what is said of its teardown now."""
    newest = select(func.max(grading.c.id).label("id")).group_by(grading.c.element_id).subquery("newest")
    facts = teardown_facts.c
    query = (
        select(
            grading.c.id,
            grading.c.element_id,
            element.c.teardown_id,
            facts.serial_key,
            facts.mileage,
            facts.blind,
        )
        .select_from(newest)
        .join(grading, grading.c.id == newest.c.id)
        .join(element, element.c.id == grading.c.element_id)
        .join(teardown, teardown.c.id == element.c.teardown_id)
    )
    return {row.id: row for row in connection.execute(with_facts(query))}


def _parts(lining: str) -> Select:
    """Every lined part of the gradings that hold the lining, by grading and position."""
    p = graded_part.c
    holding = select(graded_lining.c.grading_id).where(graded_lining.c.lining == lining)
    return (
        select(p.grading_id, p.part_id, p.position, p.kind, p.level)
        .where(p.grading_id.in_(holding), p.kind.in_(LINED_KINDS))
        .order_by(p.grading_id, p.position)
    )


def _named(lining: str) -> Select:
    """The parts that were compared with the lining."""
    return select(graded_lining.c.grading_id, graded_lining.c.part_id).where(graded_lining.c.lining == lining)


def _shown(connection: Connection) -> set[tuple[int, str | None]]:
    """Parts of blind teardowns with a verdict; None for a pack."""
    query = select(verdict.c.element_id, verdict.c.part_id).where(
        verdict.c.part_id.is_not(None) | (verdict.c.target == PACK)
    )
    blind = with_facts(select(element.c.id).join(teardown, teardown.c.id == element.c.teardown_id))
    query = query.where(verdict.c.element_id.in_(blind.where(teardown_facts.c.blind)))
    return {(row.element_id, row.part_id) for row in connection.execute(query)}


def _may_be_seen(pack: Row, row: Row, shown: set[tuple[int, str | None]]) -> bool:
    return not pack.blind or (pack.element_id, row.part_id) in shown or (pack.element_id, None) in shown
