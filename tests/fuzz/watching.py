"""Runs inputs in a watched child process: no crash, no hang, no endless memory, no file elsewhere."""

from __future__ import annotations

import faulthandler
import os
import random
import resource
import signal
import struct
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.fuzz.targets import TARGETS, Target
from wearview.errors import WearviewError

HANG_S = 10.0  # of the processor, so that a busy machine is no fault
STUCK_S = 60.0  # by the clock, for what waits without working
MEMORY_MB = 1500
_TOLD = struct.Struct("<qBd")  # number of the input, what became of it, seconds of the processor
_BEGUN, _GIVEN, _REFUSED, _FAULT = range(4)
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_TRUNC
_STARTING = ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "socket.connect")
_CHANGING = ("os.mkdir", "os.remove", "os.rename", "os.rmdir", "os.symlink", "os.link", "os.truncate")


@dataclass
class Fuzzed:
    """What became of a target's inputs.

    Attributes
    ----------
    run, refused : int
        Inputs tried, and those refused in words.
    faults : list of str
        What must not happen, with the seed and the number of the input that make it again.
    slowest_s, peak_mb : float
        The longest that one input kept the processor, and the most memory that a child held.
    """

    run: int = 0
    refused: int = 0
    faults: list[str] = field(default_factory=list)
    slowest_s: float = 0.0
    peak_mb: float = 0.0


def fuzz(name: str, times: int, seed: int = 1, first: int = 0, until: float = float("inf")) -> Fuzzed:
    """Try a target with the inputs from `first` up to `times`, or until a moment of `time.monotonic`.

    A child that crashes, hangs or grows is ended, and another goes on with the next input.
    """
    found = Fuzzed()
    while first < times and time.monotonic() < until:
        first = 1 + _one_child(name, range(first, times), seed, until, found)
    return found


def _one_child(name: str, numbers: range, seed: int, until: float, found: Fuzzed) -> int:
    """Run a child; the number of its last input."""
    label = f"{name}, seed {seed}"
    with tempfile.TemporaryDirectory(prefix="wearview-fuzz-") as folder:
        ear, mouth = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.close(ear)
            _child(name, numbers, seed, until, Path(folder), mouth)
        os.close(mouth)
        number, became, before = numbers.start, _GIVEN, found.run
        with open(ear, "rb") as told:
            while len(message := told.read(_TOLD.size)) == _TOLD.size:
                number, became, seconds = _TOLD.unpack(message)
                if became == _BEGUN:
                    found.run += 1
                    continue
                found.refused += became == _REFUSED
                found.slowest_s = max(found.slowest_s, seconds)
                if became == _FAULT:
                    found.faults.append(f"{label}, input {number}: {told.readline().decode().strip()}")
        _, status, usage = os.wait4(pid, 0)
    found.peak_mb = max(found.peak_mb, usage.ru_maxrss / 1024)
    if found.run == before:
        raise RuntimeError(f"{name}: nothing could be tried")
    if status:
        ended = os.waitstatus_to_exitcode(status)
        slow = ended in (-signal.SIGPROF, -signal.SIGALRM)
        why = f"more than {HANG_S:g} s" if slow else f"the process ended with {ended}"
        found.faults.append(f"{label}, input {number}: {why}")
    return number


def _child(name: str, numbers: range, seed: int, until: float, folder: Path, mouth: int) -> None:
    """Try inputs and tell of each; never returns."""
    status = 1
    faulthandler.disable()  # the parent tells of a crash, in one line
    try:
        os.environ["XDG_DATA_HOME"] = str(folder / "data")
        target = TARGETS[name](folder)
        outside = _watch_files(folder)
        for number in numbers:
            os.write(mouth, _TOLD.pack(number, _BEGUN, 0.0))
            data = target.make(random.Random(f"{name} {seed} {number}"))
            # Without a handler these signals end the process, in the middle of a decoder too.
            signal.setitimer(signal.ITIMER_PROF, HANG_S)
            signal.setitimer(signal.ITIMER_REAL, STUCK_S)
            before = time.process_time()
            became, faults = _try(target, data)
            seconds = time.process_time() - before
            signal.setitimer(signal.ITIMER_PROF, 0)
            signal.setitimer(signal.ITIMER_REAL, 0)
            faults += outside
            outside.clear()
            grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 > MEMORY_MB
            if grown:
                faults.append(f"more than {MEMORY_MB} MB")
            if faults:
                os.write(mouth, _TOLD.pack(number, _FAULT, seconds) + _line(faults))
            else:
                os.write(mouth, _TOLD.pack(number, became, seconds))
            if grown or time.monotonic() > until:
                break
        status = 0
    except BaseException as error:
        os.write(2, f"{name}: {type(error).__name__}: {error}\n".encode())
    finally:
        os._exit(status)


def _line(faults: list[str]) -> bytes:
    return "; ".join(faults).replace("\n", "\\n")[:400].encode(errors="backslashreplace") + b"\n"


def _try(target: Target, data: Any) -> tuple[int, list[str]]:
    """What became of an input, and what must not have happened."""
    try:
        target.use(data)
    except WearviewError as error:
        return _REFUSED, ["an error of several lines"] if "\n" in str(error) else []
    except BaseException as error:
        return _FAULT, [f"{type(error).__name__}: {error}"]
    return _GIVEN, []


def _watch_files(folder: Path) -> list[str]:
    """Lists, from now on, what Python writes outside the folder, and what it starts or calls."""
    faults: list[str] = []
    inside = os.path.realpath(folder)

    def look(event: str, args: tuple[Any, ...]) -> None:
        if event in _STARTING:
            faults.append(f"{event} {args!r}"[:200])
        elif (event == "open" and args[2] & _WRITING) or event in _CHANGING:
            paths = args[:1] if event == "open" else args[:2]
            faults.extend(f"wrote to {path!r}"[:200] for path in paths if not _is_in(path, inside))

    sys.addaudithook(look)
    return faults


def _is_in(path: Any, inside: str) -> bool:
    if not isinstance(path, str | bytes) or path == "/dev/null":
        return True  # a descriptor or a mode
    real = os.path.realpath(os.fsdecode(path).replace("\0", "?"))
    return real == inside or real.startswith(inside + os.sep)
