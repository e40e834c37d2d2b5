"""Grades and heat levels side by side over the whole record."""

from sqlalchemy import func, select

from wearview.agreement import Rated
from wearview.record.history import SIDE_LETTERS
from wearview.store.connect import Store, reading
from wearview.store.tables import element, graded_part, grading, teardown, verdict


def rated_parts(store: Store) -> list[Rated]:
    """Every part of an element's newest grading that has a verdict of its own, with the one that holds now.

    In order of the record. A pack is one element of one teardown.
    """
    newest = select(func.max(grading.c.id)).group_by(grading.c.element_id)
    holds = select(func.max(verdict.c.id)).where(verdict.c.part_id.is_not(None))
    holds = holds.group_by(verdict.c.element_id, verdict.c.part_id)
    query = (
        select(
            graded_part.c.part_id,
            graded_part.c.position,
            graded_part.c.side,
            teardown.c.name,
            element.c.name,
            graded_part.c.level,
            verdict.c.heat,
            verdict.c.decision,
            verdict.c.given_by,
            verdict.c.given_at,
        )
        .join(grading, grading.c.id == graded_part.c.grading_id)
        .join(element, element.c.id == grading.c.element_id)
        .join(teardown, teardown.c.id == element.c.teardown_id)
        .join(
            verdict,
            (verdict.c.element_id == element.c.id) & (verdict.c.part_id == graded_part.c.part_id),
        )
        .where(grading.c.id.in_(newest), verdict.c.id.in_(holds))
        .order_by(grading.c.id, graded_part.c.position, graded_part.c.part_id)
    )
    with reading(store) as connection:
        return [
            Rated(
                part,
                f"{position}{SIDE_LETTERS.get(side, '')}",
                f"{job}, {name}",
                level,
                heat,
                decision,
                by,
                at,
            )
            for part, position, side, job, name, level, heat, decision, by, at in connection.execute(query)
        ]
