"""How much slower finding and opening get when the record grows."""

import random
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from sqlalchemy import Connection, Table, insert

from tests import documents
from wearview import store as record
from wearview.cli.agreement import agreement_text
from wearview.record import parts_of, to_json
from wearview.store.backup import count_on
from wearview.store.connect import writing
from wearview.store.counted import count_anew
from wearview.store.gradings import part_row
from wearview.store.seal import FIRST, digest, key_text, row_text
from wearview.store.tables import (
    customer,
    element,
    element_duty,
    graded_part,
    graded_photo,
    grading,
    photo,
    seal,
    teardown,
    teardown_customer,
    teardown_facts,
    verdict,
)

ELEMENTS, PLATES = 3, 10  # of each teardown: 30 graded parts
REPEATS = 15
WHEN = "2026-03-05T10:00:00+00:00"


def fill(store: record.Store, teardowns: int) -> int:
    """Put jobs into an empty record as the program would store them, many rows at a time; graded parts."""
    picture = documents.jpeg(90)
    parts = [documents.part(picture, n, n, n % 4, left=110.0 * n) for n in range(1, PLATES + 1)]
    document = documents.document([documents.photo_entry(picture, "a.jpg", parts)])
    rows = _rows(teardowns, document, len(picture))
    with writing(store) as connection:
        chain = _Chain()
        for table, values in rows.items():
            _insert(connection, table, values)
            if table not in (customer, graded_part):
                chain.add(table, values)
        _insert(connection, seal, chain.seals)
        count_anew(connection)
        if connection.dialect.name == "postgresql":
            for table in rows:
                count_on(connection, table)
    return len(rows[graded_part])


class _Chain:
    """The seals of rows put in at once."""

    def __init__(self) -> None:
        self.seals: list[dict[str, Any]] = []

    def add(self, table: Table, rows: Iterable[dict[str, Any]]) -> None:
        for row in rows:
            previous = self.seals[-1]["digest"] if self.seals else FIRST
            self.seals.append(
                {
                    "id": len(self.seals) + 1,
                    "table_name": table.name,
                    "row_key": key_text(table, row),
                    "digest": digest(previous, table.name, row_text(row)),
                }
            )


def _rows(teardowns: int, document: dict[str, Any], size: int) -> dict[Table, list[dict[str, Any]]]:
    text = to_json(document)
    sha256 = document["photos"][0]["sha256"]
    jobs = range(1, teardowns + 1)
    packs = range(1, teardowns * ELEMENTS + 1)
    seen = [part_row(entry, part) for entry, part in parts_of(document)]
    return {
        photo: [{"sha256": sha256, "n_bytes": size, "added_at": WHEN}],
        customer: [{"id": f"{n:032x}", "reference": f"customer {n}"} for n in jobs],
        teardown: [{"id": n, "name": f"job-{n}", "opened_at": WHEN} for n in jobs],
        teardown_facts: [
            {
                "id": n,
                "teardown_id": n,
                "unit": f"type {n % 40}",
                "serial": f"SN-{n}",
                "serial_key": f"sn{n}",
                "wish": "replace what it needs",
                "blind": False,
                "closed": False,
                "stated_at": WHEN,
            }
            for n in jobs
        ],
        teardown_customer: [
            {"id": n, "teardown_id": n, "customer_id": f"{n:032x}", "stated_at": WHEN} for n in jobs
        ],
        element: [
            {
                "id": n,
                "teardown_id": (n - 1) // ELEMENTS + 1,
                "ordinal": (n - 1) % ELEMENTS + 1,
                "name": f"clutch {(n - 1) % ELEMENTS + 1}",
                "added_at": WHEN,
            }
            for n in packs
        ],
        element_duty: [
            {"id": n, "element_id": n, "plates": PLATES, "expects": "clean", "stated_at": WHEN} for n in packs
        ],
        grading: [
            {
                "id": n,
                "element_id": n,
                "document": text,
                "document_sha256": documents.sha256(text.encode("ascii")),
                "program_version": "0.1.0",
                "rules_id": "rules-1",
                "rules_sha256": "ab" * 32,
                "graded_at": WHEN,
            }
            for n in packs
        ],
        graded_photo: [{"grading_id": n, "photo_sha256": sha256} for n in packs],
        graded_part: [{"grading_id": n, **row} for n in packs for row in seen],
        verdict: list(_verdicts(packs, seen)),
    }


def _verdicts(packs: range, seen: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """One on each plate, by one of four technicians, over three years; some see another level."""
    rng = random.Random(11)
    for n, (pack, part) in enumerate(((pack, part) for pack in packs for part in seen), 1):
        months = 36 * (pack - 1) // len(packs)
        heat = part["level"] + rng.choice((-1, 0, 0, 0, 0, 1, 2))
        yield {
            "id": n,
            "element_id": pack,
            "part_id": part["part_id"],
            "target": str(part["position"]),
            "decision": "replace",
            "heat": min(4, max(0, heat)),
            "reason": "heat",
            "given_by": f"bench {pack % 4 + 1}",
            "given_at": f"{2024 + months // 12}-{months % 12 + 1:02}-05T10:00:00+00:00",
            "blind": n % 3 > 0,
        }


def _insert(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    for first in range(0, len(rows), 5000):
        connection.execute(insert(table), rows[first : first + 5000])


def timed(url: str, teardowns: int) -> dict[str, float]:
    """Seconds that each way of finding and opening takes, the record opened anew as a command does."""
    last = teardowns - 1
    asked: dict[str, Callable[[record.Store], Any]] = {
        "find a unit by its serial number": lambda s: record.find_teardowns(s, serial=f"SN-{last}"),
        "find a job by the customer": lambda s: record.find_teardowns(s, customer_ref=f"customer {last}"),
        "find a job by any word": lambda s: record.find_teardowns(s, f"job-{last}"),
        "open a teardown": lambda s: record.get_teardown(s, f"job-{last}"),
        "agreement over the whole record": lambda s: agreement_text(record.counted(s)),
        "earlier teardowns of a unit": lambda s: record.earlier_teardowns(s, f"job-{last}"),
    }
    return {name: fastest(url, ask) for name, ask in asked.items()}


def fastest(url: str, ask: Callable[[record.Store], Any]) -> float:
    """Seconds that a call takes at best, the record opened anew for each."""
    taken = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        ask(record.open_store(url))
        taken.append(time.perf_counter() - began)
    return min(taken)


def slower(small: dict[str, float], large: dict[str, float]) -> dict[str, float]:
    """How many times as long each takes in the large record."""
    return {name: large[name] / small[name] for name in small}
