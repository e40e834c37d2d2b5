"""`wearview app` as a shop meets it: the command, a browser as wide as a phone, the report downloaded."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

from tests.chromium import needed, open_tab
from tests.journeys.test_app import add_hot_pack

ROOT = Path(__file__).parents[2]
pytestmark = needed()


@contextlib.contextmanager
def served(folder, url):
    """The page from another folder than the checkout, as an installed program has it; its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "wearview.cli", "app", "--port", str(port), "--store", url]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        command, cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as server:
        try:
            told = ""
            while f"http://localhost:{port}" not in told:
                line = server.stdout.readline()
                assert line, f"the page did not start: {told}"
                told += line
            yield f"http://localhost:{port}"
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(timeout=30)
    with socket.socket() as taken:
        assert taken.connect_ex(("127.0.0.1", port)) != 0, "the server outlived its command"


def press(tab, label):
    """Press the first button or tab that begins with a label."""
    every = "[...document.querySelectorAll('button, [role=tab]')]"
    found = f"{every}.find(b => b.innerText.trim().startsWith('{label}'))"
    tab.wait_for(f"!!{found}")
    tab.value(f"{found}.click()")


def test_a_report_is_downloaded_in_a_browser(tmp_path):
    url = f"sqlite:///{tmp_path}/record.sqlite"
    add_hot_pack(url)
    (tmp_path / "profile").mkdir()
    with served(tmp_path, url) as address, open_tab(tmp_path / "profile", address, width=390) as tab:
        tab.wait_for("document.title === 'wearview'")
        press(tab, "Job 7")
        tab.wait_for("document.body.innerText.includes('What the pack shows')")
        assert tab.value("document.documentElement.scrollWidth") <= 390
        assert not tab.value("!!document.querySelector('img:not([alt])')")
        tab.ask("Page.navigate", url=f"{address}/report?teardown=Job+7")
        press(tab, "Write the report")
        tab.ask("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(tmp_path / "got"))
        press(tab, "Report for the customer")
        report = tmp_path / "got" / "report.html"
        deadline = time.monotonic() + 30
        while not report.is_file():
            assert time.monotonic() < deadline, tab.text()
            time.sleep(0.1)
        assert "Teardown report: Job 7" in report.read_text("utf-8")
        loaded = tab.value("performance.getEntriesByType('resource').map(entry => entry.name)")
        assert loaded
        assert [name for name in loaded if not name.startswith((address, "data:", "blob:"))] == []
