"""The plates of one lining over all teardowns, without those whose grade may not be seen yet."""

from collections.abc import Mapping
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Row, func, select

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
        shown, rows = _shown(connection), _rows(connection, lining)
    plates = []
    for _, group in groupby(rows, key=lambda row: row.element_id):
        pack = list(group)
        places = places_from_reaction_end((row.kind, row.position) for row in pack)
        for position, sides in groupby(pack, key=lambda row: row.position):
            if mine := [row for row in sides if row.lining == lining and _may_be_seen(row, shown)]:
                plates.append(_plate(mine, places.get(position)))
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


def _plate(sides: list[Row], place: int | None) -> LinedPlate:
    """One plate of the rows of its sides."""
    first = sides[0]
    levels = [row.level for row in sides if row.level is not None]
    return LinedPlate(
        first.serial_key or f" {first.teardown_id}",  # no serial has a blank in its key
        str(first.element_id),
        place,
        max(levels, default=None),
        None if first.mileage is None else parse_mileage(first.mileage),
    )


def _rows(connection: Connection, lining: str) -> list[Row]:
    """Every lined part of the newest gradings that hold the lining, by pack and position."""
    newest = select(func.max(grading.c.id).label("id")).group_by(grading.c.element_id).subquery("newest")
    holding = select(graded_lining.c.grading_id).where(graded_lining.c.lining == lining).distinct().subquery()
    query = (
        select(
            graded_part.c.part_id,
            graded_part.c.position,
            graded_part.c.kind,
            graded_part.c.level,
            graded_lining.c.lining,
            grading.c.element_id,
            element.c.teardown_id,
            teardown_facts.c.serial_key,
            teardown_facts.c.mileage,
            teardown_facts.c.blind,
        )
        .select_from(holding)
        .join(newest, newest.c.id == holding.c.grading_id)
        .join(grading, grading.c.id == newest.c.id)
        .join(graded_part, graded_part.c.grading_id == grading.c.id)
        .outerjoin(
            graded_lining,
            (graded_lining.c.grading_id == grading.c.id) & (graded_lining.c.part_id == graded_part.c.part_id),
        )
        .join(element, element.c.id == grading.c.element_id)
        .join(teardown, teardown.c.id == element.c.teardown_id)
        .where(graded_part.c.kind.in_(LINED_KINDS))
        .order_by(grading.c.element_id, graded_part.c.position, graded_part.c.side)
    )
    return list(connection.execute(with_facts(query)))


def _shown(connection: Connection) -> set[tuple[int, str | None]]:
    """Parts of blind teardowns with a verdict; None for a pack."""
    query = select(verdict.c.element_id, verdict.c.part_id).where(
        verdict.c.part_id.is_not(None) | (verdict.c.target == PACK)
    )
    blind = with_facts(select(element.c.id).join(teardown, teardown.c.id == element.c.teardown_id))
    query = query.where(verdict.c.element_id.in_(blind.where(teardown_facts.c.blind)))
    return {(row.element_id, row.part_id) for row in connection.execute(query)}


def _may_be_seen(row: Row, shown: set[tuple[int, str | None]]) -> bool:
    return not row.blind or (row.element_id, row.part_id) in shown or (row.element_id, None) in shown
