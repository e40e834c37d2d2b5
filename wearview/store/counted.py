"""Grades and heat levels counted: kept beside the record, in the transaction that changes what they count.

No figure of agreement reads the record through. A verdict or a grading changes what one element adds to the
sums of its groups, so these are read before and after it and the difference is put in. The counts say
nothing that the record does not: beside a customer's data they are the one thing that changes in place,
`check_record` compares them with the record, and they can be made again from it.
"""

import contextlib
import json
from collections.abc import Collection, Iterable, Iterator
from typing import Any

from sqlalchemy import Connection, Row, delete, insert, select, tuple_

from wearview.agreement import Counted, Sums, changed, sums_of
from wearview.store.connect import Store, reading, writing
from wearview.store.rated import rated_columns, rated_from, with_verdicts
from wearview.store.tables import agreement_sum, apart, element, graded_part, grading, teardown, verdict

_MOST_APART = 12


def counted(store: Store) -> Counted:
    """What agreement needs of the whole record."""
    farthest = (
        select(apart).order_by(apart.c.distance.desc(), apart.c.verdict_id.desc()).limit(_MOST_APART)
    ).subquery("farthest")
    query = (
        select(*rated_columns())
        .select_from(farthest)
        .join(verdict, verdict.c.id == farthest.c.verdict_id)
        .join(
            graded_part,
            (graded_part.c.grading_id == farthest.c.grading_id)
            & (graded_part.c.part_id == verdict.c.part_id),
        )
        .join(element, element.c.id == verdict.c.element_id)
        .join(teardown, teardown.c.id == element.c.teardown_id)
        .order_by(farthest.c.distance.desc(), farthest.c.verdict_id.desc())
    )
    with reading(store) as connection:
        return Counted(_sums(connection), tuple(map(rated_from, connection.execute(query))))


@contextlib.contextmanager
def counting(connection: Connection, element_id: int) -> Iterator[None]:
    """Count anew what an element adds, whatever the block adds to it, in a write transaction."""
    before = sums_of(map(rated_from, _rows(connection, element_id)))
    yield
    rows = _rows(connection, element_id)
    after = sums_of(map(rated_from, rows))
    _put(connection, changed(_sums(connection, before.keys() | after.keys()), before, after))
    connection.execute(delete(apart).where(apart.c.element_id == element_id))
    _put_apart(connection, rows)


def count_anew(connection: Connection) -> None:
    """Make all counts again from the record, in a write transaction."""
    for table in (agreement_sum, apart):
        connection.execute(delete(table))
    rows = _rows(connection)
    _put(connection, sums_of(map(rated_from, rows)))
    _put_apart(connection, rows)


def mend_counts(store: Store) -> None:
    """Make all counts again from the record.

    Raises
    ------
    StoreError
        When the record can only be read.
    """
    with writing(store) as connection:
        count_anew(connection)


def is_as_recorded(connection: Connection) -> bool:
    """Whether the counts are what the record comes to."""
    rows = _rows(connection)
    kept = {tuple(row) for row in connection.execute(select(*apart.columns))}
    return kept == {tuple(row.values()) for row in _apart_rows(rows)} and (
        _sums(connection) == sums_of(map(rated_from, rows))
    )


def _rows(connection: Connection, element_id: int | None = None) -> list[Row]:
    """The rated parts of an element, or of all."""
    more = (graded_part.c.grading_id, verdict.c.element_id, verdict.c.id.label("verdict_id"))
    query = with_verdicts(*rated_columns(), *more, element_id=element_id)
    return list(connection.execute(query.order_by(grading.c.id, verdict.c.id)))


def _sums(connection: Connection, groups: Collection[tuple[str, str]] | None = None) -> Sums:
    """The sums that are kept, of some groups or of all."""
    query = select(agreement_sum)
    if groups is not None:
        query = query.where(tuple_(agreement_sum.c.grouping, agreement_sum.c.name).in_(groups))
    return {(row.grouping, row.name): tuple(json.loads(row.sums)) for row in connection.execute(query)}


def _put(connection: Connection, sums: Sums) -> None:
    if not sums:
        return
    mine = tuple_(agreement_sum.c.grouping, agreement_sum.c.name).in_(list(sums))
    connection.execute(delete(agreement_sum).where(mine))
    rows = [
        {"grouping": grouping, "name": name, "sums": json.dumps(row)}
        for (grouping, name), row in sums.items()
        if any(row)
    ]
    if rows:
        connection.execute(insert(agreement_sum), rows)


def _put_apart(connection: Connection, rows: Iterable[Row]) -> None:
    if found := list(_apart_rows(rows)):
        connection.execute(insert(apart), found)


def _apart_rows(rows: Iterable[Row]) -> Iterator[dict[str, Any]]:
    for row in rows:
        if distance := rated_from(row).distance:
            yield {
                "verdict_id": row.verdict_id,
                "element_id": row.element_id,
                "grading_id": row.grading_id,
                "distance": distance,
            }
