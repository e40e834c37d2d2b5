"""Every pack of an archive graded once, by however many workers there are, results stored in batches."""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from distributed import Client, Future, KilledWorker, LocalCluster, as_completed

from wearview import __version__
from wearview.errors import CallError
from wearview.regrade.packs import Pack, grade_pack, packs_of
from wearview.shop import shop_settings
from wearview.store.regraded import By, Regraded, add_results, done_packs, open_results

BATCH = 50  # packs in one transaction: what is graded again after the power went
AHEAD = 4  # packs handed to each worker: it never waits, and an archive of any size is never all in memory


@dataclass(frozen=True, slots=True)
class Done:
    """What became of an archive.

    Attributes
    ----------
    before : int
        Packs that an earlier run had stored, and that were left alone.
    stored : int
        Packs stored by this run.
    problems : int
        Those of them that could not be graded; their problem is stored.
    """

    before: int
    stored: int
    problems: int


@contextlib.contextmanager
def workers(count: int = 2, scheduler: str | None = None) -> Iterator[Client]:
    """Processes on this computer, or those that a Dask scheduler has: its address is all that changes.

    Raises
    ------
    CallError
        When the scheduler does not answer.
    """
    if scheduler is not None:
        try:
            client = Client(scheduler)
        except (OSError, ValueError) as error:
            raise CallError(scheduler, "is no Dask scheduler that answers", "Check its address") from error
        with client:
            yield client
        return
    cluster = LocalCluster(n_workers=count, threads_per_worker=1, dashboard_address=None, silence_logs=50)
    with cluster, Client(cluster) as client:
        yield client


def regrade(
    archive: str,
    into: str,
    client: Client,
    *,
    rules: str | None = None,
    batch: int = BATCH,
    progress: Callable[[int], None] = lambda stored: None,
) -> Done:
    """Grade every pack of an archive that has no document by these rules and this program yet.

    Parameters
    ----------
    archive : str
        See `packs_of`.
    into : str
        Database URL for the results, SQLite or PostgreSQL.
    client : Client
        See `workers`. When a worker is lost, its packs are given to another; one that loses three workers is
        stored with that as its problem.
    rules : str or None
        Id of the rules; the newest that were accepted without.
    batch : int
        Packs in one transaction.
    progress : callable
        Called after each batch with the packs stored by this run.

    Raises
    ------
    CallError
        When the archive or the rules are unknown.
    StoreError
        When results cannot be stored. What was stored stays, and the next run goes on from there.
    """
    found_rules = shop_settings(rules).rules
    by = By(found_rules.id, found_rules.sha256, __version__)
    store = open_results(into)
    earlier = done_packs(store, by)
    waiting = (pack for pack in packs_of(archive) if pack.name not in earlier)
    stored = problems = 0
    ready: list[Regraded] = []

    def put_down() -> None:
        nonlocal stored, problems
        if ready:
            stored += add_results(store, by, ready)
            problems += sum(pack.problem is not None for pack in ready)
            ready.clear()
            progress(stored)

    running: dict[Future, Pack] = {}

    def hand_out(many: int) -> Iterator[Future]:
        for pack, _ in zip(waiting, range(many), strict=False):
            future = client.submit(grade_pack, pack, found_rules.id, pure=False)
            running[future] = pack
            yield future

    ahead = AHEAD * max(1, len(client.scheduler_info(n_workers=-1)["workers"]))
    done = as_completed(list(hand_out(ahead)))
    for future in done:
        ready.append(_result(future, running.pop(future)))
        for following in hand_out(1):
            done.add(following)
        if len(ready) >= batch:
            put_down()
    put_down()
    return Done(len(earlier), stored, problems)


def _result(future: Future, pack: Pack) -> Regraded:
    try:
        return future.result()  # type: ignore[no-any-return]
    except KilledWorker:
        return Regraded(pack.name, None, "every worker that tried it was lost")
    except Exception as error:  # one pack never stops the others; the next run tries it again
        return Regraded(pack.name, None, f"{type(error).__name__}: {error}".replace("\n", " "))
