"""Run a command and print its times and peak memory: ``python -m tests.benchmarks.launch COMMAND...``.

A process of its own, small on purpose: Linux counts what the starting process held into a child's peak.
"""

import json
import os
import subprocess
import sys
import time


def main() -> int:
    """Run the command of the arguments; one line of JSON on standard output."""
    start = time.perf_counter()
    child = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - start
    print(
        json.dumps(
            {
                "wall": seconds,
                "cpu": usage.ru_utime + usage.ru_stime,
                "peak_mb": usage.ru_maxrss / 1024,
                "status": os.waitstatus_to_exitcode(status),
            }
        )
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
