"""Fuzz a reader led by what of the code an input reaches: ``python -m tests.fuzz.guided photo --minutes 5``.

Needs atheris (``pip install atheris``), no dependency of the project. It starts from the same whole inputs as
`tests.fuzz` and keeps those that reach something new; an input that goes wrong is left in ``--out``. Only
Python is seen into, not the decoders below it.
"""

import argparse
import os
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

HANG_S, MEMORY_MB = 10, 1500
# What a reader is given, from bytes, and the other way round. The mat takes pictures, which bytes hardly are.
MEANT: dict[str, tuple[Callable[[bytes, list[Any]], Any], Callable[[Any, list[Any]], bytes]]] = {
    "photo": (lambda data, whole: data, lambda given, whole: given),
    "restore": (lambda data, whole: data, lambda given, whole: given),
    "url": (
        lambda data, whole: data.decode("utf-8", "surrogateescape"),
        lambda given, whole: given.encode("utf-8", "surrogateescape"),
    ),
    "texts": (  # the first byte says which of the files
        lambda data, whole: (whole[data[0] % len(whole)][0], data[1:]),
        lambda given, whole: bytes([whole.index(given)]) + given[1],
    ),
}


def main() -> None:
    """Fuzz; the process ends with 0 when nothing went wrong."""
    parser = argparse.ArgumentParser("python -m tests.fuzz.guided", description=__doc__)
    parser.add_argument("what", choices=MEANT)
    parser.add_argument("--minutes", type=float, default=5)
    parser.add_argument("--out", type=Path, default=Path(tempfile.gettempdir()) / "wearview-fuzz")
    args = parser.parse_args()
    try:
        import atheris
    except ImportError:
        sys.exit("atheris is not installed: pip install atheris")
    with atheris.instrument_imports(include=["wearview"], enable_loader_override=False):
        from tests.fuzz.targets import TARGETS
        from wearview.errors import WearviewError
    folder = args.out / f"{args.what}-files"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    os.environ["XDG_DATA_HOME"] = str(folder / "data")
    target = TARGETS[args.what](folder)
    whole = target.whole()
    read, written = MEANT[args.what]
    reached = args.out / args.what
    reached.mkdir(parents=True, exist_ok=True)
    for n, given in enumerate(whole):
        (reached / f"whole-{n}").write_bytes(written(given, whole))

    def one(data: bytes) -> None:
        if not data:
            return
        try:
            target.use(read(data, whole))
        except WearviewError as error:
            if "\n" in str(error):
                raise RuntimeError("an error of several lines") from error

    options = [
        f"-max_total_time={round(60 * args.minutes)}",
        f"-timeout={HANG_S}",
        f"-rss_limit_mb={MEMORY_MB}",
        f"-artifact_prefix={args.out}/{args.what}-fault-",
        "-print_final_stats=1",
    ]
    atheris.Setup([sys.argv[0], *options, str(reached)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
