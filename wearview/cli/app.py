"""`wearview app`: the page in the browser."""

import argparse
import importlib.util
import os
import subprocess
import sys
from pathlib import Path

from wearview.errors import CallError


def app(args: argparse.Namespace) -> int:
    """Serve the page until it is interrupted."""
    if not 0 < args.port < 65536:
        raise CallError(str(args.port), "is no port", "Use 1 to 65535")
    if importlib.util.find_spec("streamlit") is None:
        raise CallError("wearview app", "the page needs streamlit", "Run: pip install streamlit")
    environment = dict(os.environ)
    if args.store:
        environment["WEARVIEW_STORE"] = args.store
    command = [sys.executable, "-m", "streamlit", "run", str(_page())]
    command += ["--server.address", "0.0.0.0" if args.lan else "localhost", "--server.port", str(args.port)]
    return subprocess.run(command, env=environment, check=False).returncode and 2


def _page() -> Path:
    """`app.py`: inside the package when installed, beside it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    for page in (package / "app.py", package.parent / "app.py"):
        if page.is_file():
            return page
    raise CallError("app.py", "the page is missing", "Install the program again")
