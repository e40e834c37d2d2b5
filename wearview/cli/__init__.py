"""The command line: arguments in, exit status out.

Results go to standard output, everything else to standard error.

Exit status: 0 every photo was read; 1 some photo could not be read, the others are graded; 2 the call itself
was wrong; 3 a result could not be written.
"""

import argparse
import contextlib
import gc
import os
import sys
from collections.abc import Sequence

from wearview.cli.parser import build_parser
from wearview.errors import CallError, ModelsError, OutputError, PhotoError, WearviewError
from wearview.files import reason

UNREAD, WRONG_CALL, NOT_WRITTEN = 1, 2, 3
INTERRUPTED = 130  # 128 + SIGINT, as shells count it


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name; those of the process by default.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a file name may be no text in this terminal
    typed = sys.argv[1:] if argv is None else argv
    parser = build_parser(typed)
    args = parser.parse_args(typed)
    if "command" not in args:
        parser.print_help(sys.stderr)
        return WRONG_CALL
    # NumPy, not loaded yet, reads it. Sums over several threads end in other digits than on one, and the
    # document must be the same. Matrices are small here, too: a second thread for them only spins, for a
    # seventh of a command's processor time on two cores.
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    try:
        status = _run(args)
        sys.stdout.flush()
    except WearviewError as error:
        _complain(str(error))
        return _status(error)
    except BrokenPipeError:
        return _give_up_on_stdout()
    except KeyboardInterrupt:
        _complain("interrupted")
        return INTERRUPTED
    except OSError as error:
        if error.filename is not None:
            raise
        _complain(f"standard output: could not be written ({reason(error)}).")
        return _give_up_on_stdout()
    return status


def _run(args: argparse.Namespace) -> int:
    """Run the command that was typed; its module is loaded here, so that --help is answered at once."""
    match args.command:
        case "grade":
            from wearview.cli.grade import grade

            gc.freeze()  # what is loaded stays: every collection would look through all of it
            return grade(args)
        case "demo":
            from wearview.cli.demo import demo

            return demo(args)
        case "mat":
            from wearview.cli.mat import write_mat

            return write_mat(args)
        case "mat calibrate":
            from wearview.cli.mat import calibrate

            return calibrate(args)
        case "agreement":
            from wearview.cli.agreement import agreement

            return agreement(args)
        case "app":
            from wearview.cli.app import app

            return app(args)
        case "regrade":
            from wearview.cli.regrade import regrade

            return regrade(args)
    from wearview.cli import (
        beside,
        care,
        customer,
        element,
        followed,
        job,
        lining,
        policy,
        rules,
        teardown,
    )

    commands = {
        "rules list": rules.list_rules,
        "rules propose": rules.propose_rules,
        "rules accept": rules.accept,
        "lining add": lining.add,
        "lining list": lining.list_all,
        "lining show": lining.show,
        "lining history": followed.history,
        "lining remove": lining.remove,
        "lining put-back": lining.put_back,
        "teardown new": teardown.new,
        "teardown list": teardown.list_all,
        "teardown find": teardown.find,
        "teardown show": teardown.show,
        "teardown history": teardown.history,
        "teardown change": teardown.change,
        "teardown close": teardown.close,
        "teardown reopen": teardown.reopen,
        "element duty": element.duty,
        "element examples": element.examples,
        "verdict": job.verdict,
        "checklist set": beside.set_checklist,
        "checklist show": beside.show_checklists,
        "checklist example": beside.example,
        "finding add": beside.add_finding,
        "finding list": beside.list_findings,
        "finding take-back": beside.take_back_finding,
        "measured add": beside.add_measured,
        "measured list": beside.list_measured,
        "measured take-back": beside.take_back_measured,
        "policy show": policy.show,
        "policy set": policy.change,
        "suggest": policy.suggest,
        "parts": job.parts,
        "report": job.report,
        "customer list": customer.list_all,
        "customer show": customer.show,
        "customer change": customer.change,
        "customer erase": customer.erase,
        "shop": job.shop,
        "backup": care.backup,
        "restore": care.restore,
        "check": care.check,
    }
    return commands[args.command](args)


def _status(error: WearviewError) -> int:
    if isinstance(error, OutputError):
        return NOT_WRITTEN
    if isinstance(error, CallError):
        return WRONG_CALL
    if isinstance(error, PhotoError):
        return UNREAD
    assert isinstance(error, ModelsError)
    return WRONG_CALL


def _complain(line: str) -> None:
    with contextlib.suppress(OSError):
        print(f"wearview: {line}", file=sys.stderr, flush=True)


def _give_up_on_stdout() -> int:
    # The interpreter flushes standard output once more when it ends, and would complain.
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return NOT_WRITTEN
