"""A process that stores packs is killed at random moments; what is left is looked through each time."""

import os
import random
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.endurance.packs import TEARDOWN, Pack, history, is_beginning, new_pack, store_pack
from wearview import store as record


@dataclass
class Killed:
    """How often a process was killed, and what was found afterwards."""

    times: int = 0
    stored: int = 0  # packs that were whole when the process was killed
    unfinished: int = 0  # files that no row names
    faults: list[str] = field(default_factory=list)


def kill_while_storing(url: str, times: int, seed: int = 1) -> Killed:
    """Kill a writer `times` times, each at a moment within the storing of its first packs."""
    chance = random.Random(seed)
    store = record.open_store(url)
    if not record.list_teardowns(store):
        record.new_teardown(store, TEARDOWN)
    store_pack(store, new_pack())
    began = time.perf_counter()
    store_pack(store, new_pack())
    takes = time.perf_counter() - began
    found = Killed()
    for _ in range(times):
        before = history(store)
        packs = [new_pack() for _ in range(2)]
        pid = _writer(url, packs)
        time.sleep(chance.uniform(0, 2 * takes))
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        _look(record.open_store(url), before, found)
    return found


def _writer(url: str, packs: list[Pack]) -> int:
    """A child that stores the packs one after the other, then waits to be killed."""

    def write() -> None:
        store = record.open_store(url)
        for pack in packs:
            store_pack(store, pack)
        time.sleep(3600)

    return fork(write)


def fork(work: Callable[[], None]) -> int:
    """The id of a child process that does the work and ends: with 1 when it raises, telling why."""
    pid = os.fork()
    if pid == 0:
        status = 1
        try:
            work()
            status = 0
        except BaseException as error:
            os.write(2, f"{type(error).__name__}: {error}\n".encode())
        finally:
            os._exit(status)
    return pid


def _look(store: record.Store, before: tuple[list[str], list[str]], found: Killed) -> None:
    after = history(store)
    checked = record.check_record(store)
    found.times += 1
    found.stored += len(after[0]) - len(before[0])
    found.unfinished = checked.unnamed
    found.faults += [f"{finding.where}: {finding.problem}" for finding in checked.findings]
    if not is_beginning(before, after):
        found.faults.append("something earlier has changed")
