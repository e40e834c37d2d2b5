"""`wearview app` in a process of its own, and hands for a browser in front of it."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

from tests.chromium import open_tab

ROOT = Path(__file__).parents[1]
DESK = "127.0.0.2"  # this machine under an address that the page takes for another device's way in


@contextlib.contextmanager
def served(folder, url, *options):
    """The page from another folder than the checkout, as an installed program has it; its address and what
    the terminal said."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    # Options that the command does not take are those of the program it starts.
    program = ["wearview.ui.serve"] if options else ["wearview.cli", "app", "--store", url]
    command = [sys.executable, "-m", *program, "--port", str(port), *options]
    environment = os.environ | {"PYTHONPATH": str(ROOT), "WEARVIEW_STORE": url}
    with subprocess.Popen(
        command, cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as server:
        try:
            told = ""
            while f" URL: http://{DESK if options else 'localhost'}:{port}" not in told:
                line = server.stdout.readline()
                assert line, f"the page did not start: {told}"
                told += line
            yield f"http://localhost:{port}", told
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(timeout=30)
    with socket.socket() as taken:
        assert taken.connect_ex(("127.0.0.1", port)) != 0, "the server outlived its command"


@contextlib.contextmanager
def browser(folder, name, address, width):
    """A browser of its own, which remembers nothing of another one's."""
    (folder / name).mkdir()
    with open_tab(folder / name, address, width=width) as tab:
        yield tab


def press(tab, label, kind="button"):
    """Press the first button, or another kind of element, with this label, as soon as there is one."""
    every = f"[...document.querySelectorAll('{kind}')]"
    found = f"{every}.find(b => !b.disabled && b.innerText.includes('{label}'))"
    # Found and pressed in one go: between two the page may draw it anew.
    tab.wait_for(f"(found => {{ found?.click(); return !!found; }})({found})")
