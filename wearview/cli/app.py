"""`wearview app`: the page in the browser."""

import argparse
import importlib.util
import os
import signal
import subprocess
import sys
from pathlib import Path

from wearview.errors import CallError

PAGE = Path(__file__).resolve().parents[1] / "ui" / "start" / "app.py"


def app(args: argparse.Namespace) -> int:
    """Serve the page on this computer until it is interrupted; 2 when it could not be served."""
    if not 0 < args.port < 65536:
        raise CallError(str(args.port), "is no port", "Use 1 to 65535")
    if args.lan:
        raise CallError("--lan", "not yet: the page has no passcode guard", "Run it without --lan")
    if importlib.util.find_spec("streamlit") is None:
        raise CallError("wearview app", "the page needs streamlit", "Run: pip install streamlit")
    environment = dict(os.environ)
    if args.store:
        environment["WEARVIEW_STORE"] = args.store
    # Address, telemetry and look stand in the config file beside the page, which Streamlit reads last.
    command = [sys.executable, "-m", "streamlit", "run", str(PAGE), "--server.port", str(args.port)]
    with subprocess.Popen(command, env=environment) as server:
        # A service is stopped with SIGTERM, which reaches this process alone.
        signal.signal(signal.SIGTERM, lambda *_: server.terminate())
        try:
            return 2 if server.wait() > 0 else 0
        except KeyboardInterrupt:  # the terminal has interrupted the server too
            server.wait()
            return 0
