"""Grades and heat levels side by side over the whole record."""

import json
from collections.abc import Iterator
from itertools import groupby

from sqlalchemy import ColumnElement, Row, Select, func, select

from wearview.agreement import Judged, Rated
from wearview.record import parts_of
from wearview.record.verdict import SIDE_LETTERS
from wearview.store.connect import Store, reading
from wearview.store.tables import element, graded_part, grading, teardown, verdict


def rated_parts(store: Store) -> list[Rated]:
    """Every part of an element's newest grading that has a verdict of its own, with the one that holds now.

    In order of the record. A pack is one element of one teardown. For figures over the whole record see
    `counted`, which reads no part.
    """
    query = with_verdicts(*rated_columns())
    query = query.order_by(grading.c.id, graded_part.c.position, graded_part.c.part_id)
    with reading(store) as connection:
        return [rated_from(row) for row in connection.execute(query)]


def rated_columns() -> tuple[ColumnElement, ...]:
    """What `rated_from` takes."""
    return (
        graded_part.c.part_id,
        graded_part.c.position,
        graded_part.c.side,
        teardown.c.name.label("teardown"),
        element.c.name.label("element"),
        graded_part.c.level,
        verdict.c.heat,
        verdict.c.decision,
        verdict.c.given_by,
        verdict.c.given_at,
        verdict.c.blind,
    )


def rated_from(row: Row) -> Rated:
    """A part with its verdict from a row of these columns."""
    return Rated(
        row.part_id,
        f"{row.position}{SIDE_LETTERS.get(row.side, '')}",
        f"{row.teardown}, {row.element}",
        row.level,
        row.heat,
        row.decision,
        row.given_by,
        row.given_at,
        row.blind,
        row.teardown,
        row.element,
    )


def judged_parts(store: Store) -> Iterator[Judged]:
    """Those of `rated_parts` with a heat level, each as its document has it."""
    query = with_verdicts(grading.c.id, graded_part.c.part_id, verdict.c.heat)
    query = query.where(verdict.c.heat.is_not(None)).order_by(grading.c.id)
    with reading(store) as connection:
        rows = connection.execute(query).all()
        for grading_id, group in groupby(rows, key=lambda row: row[0]):
            heats = {part_id: heat for _, part_id, heat in group}
            document = connection.execute(
                select(grading.c.document).where(grading.c.id == grading_id)
            ).scalar_one()
            for _, part in parts_of(json.loads(document)):
                if part["id"] in heats:
                    yield Judged(part, str(grading_id), heats[part["id"]])


def with_verdicts(*columns: ColumnElement, element_id: int | None = None) -> Select:
    """Parts of the newest gradings, of one element or of all, joined with the verdict that holds for each."""
    # As joined tables and from the verdicts on: a planner that began with the parts and looked each verdict
    # up among all of its element's, or in a list of all that hold, took half a minute for 60,000 parts.
    holds = (
        select(func.max(verdict.c.id).label("id"))
        .where(verdict.c.part_id.is_not(None))
        .group_by(verdict.c.element_id, verdict.c.part_id)
    )
    newest = select(grading.c.element_id, func.max(grading.c.id).label("id")).group_by(grading.c.element_id)
    if element_id is not None:
        holds = holds.where(verdict.c.element_id == element_id)
        newest = newest.where(grading.c.element_id == element_id)
    last, graded = holds.subquery("holds"), newest.subquery("newest")
    return (
        select(*columns)
        .select_from(last)
        .join(verdict, verdict.c.id == last.c.id)
        .join(graded, graded.c.element_id == verdict.c.element_id)
        .join(grading, grading.c.id == graded.c.id)
        .join(
            graded_part,
            (graded_part.c.grading_id == graded.c.id) & (graded_part.c.part_id == verdict.c.part_id),
        )
        .join(element, element.c.id == grading.c.element_id)
        .join(teardown, teardown.c.id == element.c.teardown_id)
    )
