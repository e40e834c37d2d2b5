"""Storing the technician's verdict, beside whatever the grade says."""

from sqlalchemy import Connection, func, select

from wearview.errors import CallError
from wearview.record import PACK, Verdict, parse_target, position_label
from wearview.store.connect import Store, writing
from wearview.store.counted import counting
from wearview.store.elements import element_for
from wearview.store.look import facts_of, find_element, open_teardown
from wearview.store.names import checked_name, now
from wearview.store.seal import add_row
from wearview.store.tables import graded_part, grading, verdict


def add_verdict(
    store: Store,
    teardown_name: str,
    element_name: str,
    target: str,
    decision: str,
    *,
    heat: int | None = None,
    reason: str | None = None,
    by: str | None = None,
    note: str | None = None,
) -> tuple[Verdict, ...]:
    """Store the technician's verdict as typed, beside whatever the grade says.

    Parameters
    ----------
    target : str
        A position of the newest grading ("3"; "3a" or "3r" for one side), "pack", or the name of a part
        outside a pack. A position means every part that holds it; the verdict stays with these parts when
        positions are corrected. A named part may stand in an element that has no photos; the element is then
        made.

    Returns
    -------
    tuple of Verdict
        As stored, one for each part.

    Raises
    ------
    CallError
        For an unknown or closed teardown, an unknown element or position, or a word outside the contract.
    """
    target = checked_name(target)
    place = parse_target(target)
    when = now()
    with writing(store) as connection:
        owner = open_teardown(connection, teardown_name)
        if place is None and target != PACK:
            element_id = element_for(connection, owner.id, checked_name(element_name))
        else:
            element_id = find_element(connection, owner.id, element_name).id
        blind = facts_of(connection, owner.id).blind
        part_ids = [None] if place is None else _parts_at(connection, element_id, element_name, place)
        given = tuple(
            Verdict(
                target,
                part_id,
                decision,
                heat,
                reason,
                by or None,
                note or None,
                when,
                blind and _is_first(connection, element_id, part_id),
            )
            for part_id in part_ids
        )
        with counting(connection, element_id):
            for v in given:
                _insert(connection, element_id, v)
    return given


def _insert(connection: Connection, element_id: int, given: Verdict) -> None:
    values = {
        "element_id": element_id,
        "part_id": given.part_id,
        "target": given.target,
        "decision": given.decision,
        "heat": given.heat,
        "reason": given.reason,
        "given_by": given.by,
        "note": given.note,
        "given_at": given.given_at,
        "blind": given.blind,
    }
    add_row(connection, verdict, values)


def _is_first(connection: Connection, element_id: int, part_id: str | None) -> bool:
    """Whether no verdict has shown the grade so far: on any part for the pack, on it or the pack for one."""
    earlier = select(verdict.c.id).where(verdict.c.element_id == element_id)
    if part_id is None:
        earlier = earlier.where((verdict.c.part_id.is_not(None)) | (verdict.c.target == PACK))
    else:
        of_pack = verdict.c.part_id.is_(None) & (verdict.c.target == PACK)
        earlier = earlier.where((verdict.c.part_id == part_id) | of_pack)
    return connection.scalar(earlier.limit(1)) is None


def _parts_at(
    connection: Connection, element_id: int, element_name: str, place: tuple[int, str | None]
) -> list[str | None]:
    """Ids of the parts that hold a position in the newest grading, apply side first."""
    position, side = place
    newest = select(func.max(grading.c.id)).where(grading.c.element_id == element_id).scalar_subquery()
    rows = connection.execute(
        select(graded_part.c.part_id, graded_part.c.position, graded_part.c.side)
        .where(graded_part.c.grading_id == newest)
        .order_by(graded_part.c.position, graded_part.c.side)
    ).all()
    found: list[str | None] = [
        row.part_id for row in rows if row.position == position and side in (None, row.side)
    ]
    if not found:
        known = ", ".join(position_label(row._asdict()) for row in rows)
        remedy = f"It has {known}" if known else "Grade its photos first"
        typed = position_label({"position": position, "side": side})
        raise CallError(typed, f"is no position of {element_name}", remedy)
    return found
