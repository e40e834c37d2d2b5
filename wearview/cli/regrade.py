"""`wearview regrade`: an archive graded anew under other rules."""

import argparse
import sys

from wearview.cli.tables import printable
from wearview.errors import CallError
from wearview.terms import how_many

UNREAD = 1


def regrade(args: argparse.Namespace) -> int:
    """Grade every pack of an archive that was not yet; 1 when some could not be graded."""
    try:
        from wearview import regrade as archive
    except ImportError as error:
        raise CallError("regrade", f"needs {error.name}", "Run: pip install 'wearview[regrade]'") from error

    def told(stored: int) -> None:
        print(f"{how_many(stored, 'pack')} stored", file=sys.stderr, flush=True)

    with archive.workers(args.workers, args.scheduler) as client:
        done = archive.regrade(args.archive, args.into, client, rules=args.rules, progress=told)
    print(
        f"{printable(args.archive)}: {how_many(done.stored, 'pack')} graded and stored, "
        f"{done.before} were already; {done.problems} could not be graded"
    )
    return UNREAD if done.problems else 0
