"""Several processes that store at the same time."""

import os

from tests.endurance.killing import fork
from tests.endurance.packs import ELEMENT, TEARDOWN, new_pack, store_pack
from wearview import store as record


def store_at_once(url: str, writers: int, each: int) -> list[str]:
    """Let processes store packs in the same element and in one of their own; what went wrong.

    They open the record themselves, and the first of them makes it.
    """
    start, go = os.pipe()

    def work(own: str) -> None:
        os.close(go)
        os.read(start, 1)  # all begin when the other end is closed
        store = record.open_store(url)
        for n in range(each):
            store_pack(store, new_pack(), ELEMENT if n % 2 else own)

    pids = [fork(lambda own=f"Element {n}": work(own)) for n in range(writers)]  # type: ignore[misc]
    os.close(start)
    store = record.open_store(url)
    if not record.list_teardowns(store):
        record.new_teardown(store, TEARDOWN)
    os.close(go)
    faults = [f"writer {pid} failed" for pid in pids if os.waitpid(pid, 0)[1]]
    elements = record.get_teardown(store, TEARDOWN).elements
    for what in ("gradings", "verdicts"):
        found = sum(len(getattr(element, what)) for element in elements)
        if found != writers * each:
            faults.append(f"{found} {what} of {writers * each}")
    return faults + [f"{f.where}: {f.problem}" for f in record.check_record(store).findings]
