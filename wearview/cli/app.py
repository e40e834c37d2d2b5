"""`wearview app`: the page in the browser."""

import argparse
import importlib.util
import os
import signal
import subprocess
import sys

from wearview.errors import CallError


def app(args: argparse.Namespace) -> int:
    """Serve the page on this computer until it is interrupted; 2 when it could not be served."""
    if not 0 < args.port < 65536:
        raise CallError(str(args.port), "is no port", "Use 1 to 65535")
    if importlib.util.find_spec("streamlit") is None:
        raise CallError("wearview app", "the page needs streamlit", "Run: pip install streamlit")
    environment = dict(os.environ)
    if args.store:
        environment["WEARVIEW_STORE"] = args.store
    command = [sys.executable, "-m", "wearview.ui.serve", "--port", str(args.port)]
    if args.lan:
        command.append("--lan")
    with subprocess.Popen(command, env=environment) as server:
        # A service is stopped with SIGTERM, which reaches this process alone.
        signal.signal(signal.SIGTERM, lambda *_: server.terminate())
        try:
            return 2 if server.wait() > 0 else 0
        except KeyboardInterrupt:  # the terminal has interrupted the server too
            server.wait()
            return 0
