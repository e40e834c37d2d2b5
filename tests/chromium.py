"""A real browser for tests: Debian's chromium, driven over its own debugging protocol."""

import base64
import contextlib
import json
import shutil
import subprocess
import time
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

from tests.needs import needs

# Streamlit's frame once the page's script has come to its end.
DONE = "[data-testid=stApp][data-test-script-state=notRunning]"
BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


def needed() -> pytest.MarkDecorator:
    """Skips where there is no browser, and fails on CI."""
    return needs(BROWSER is not None, "a browser (Debian: apt-get install chromium)")


class Leaving(Exception):
    """The page was left for another one while it was asked."""


class Tab:
    """One open page."""

    def __init__(self, socket) -> None:
        self._socket = socket
        self._sent = 0

    def ask(self, method: str, **parameters):
        """Send a command and give its result; events that come between are dropped."""
        self._sent += 1
        self._socket.send(json.dumps({"id": self._sent, "method": method, "params": parameters}))
        while True:
            answer = json.loads(self._socket.recv(timeout=60))
            if answer.get("id") == self._sent:
                problem = answer.get("error", {}).get("message", "")
                if "navigated" in problem or "context" in problem:
                    raise Leaving(problem)
                assert not problem, problem
                return answer["result"]

    def value(self, expression: str):
        """The value of a JavaScript expression in the page."""
        return self.ask("Runtime.evaluate", expression=expression, returnByValue=True)["result"].get("value")

    def wait_for(self, expression: str, seconds: float = 60, pause: float = 0.1):
        """Wait until an expression is true, and give its value."""
        deadline = time.monotonic() + seconds
        while True:
            with contextlib.suppress(Leaving):
                if found := self.value(expression):
                    return found
                assert time.monotonic() < deadline, f"not within {seconds} s: {expression}\n{self.text()}"
            time.sleep(pause)

    def wait_until_drawn(self, shown: str) -> None:
        """Wait until a text is there and Streamlit's script has come to its end."""
        self.wait_for(f"document.body.innerText.includes('{shown}') && !!document.querySelector('{DONE}')")

    def text(self) -> str:
        """The page's visible text."""
        return self.value("document.body.innerText")

    def upload(self, selector: str, files: list[Path]) -> None:
        """Give files to a file field, as soon as it is there."""
        self.wait_for(f"!!document.querySelector('{selector}')")
        field = self.ask("Runtime.evaluate", expression=f"document.querySelector('{selector}')")["result"]
        self.ask("DOM.setFileInputFiles", files=[str(file) for file in files], objectId=field["objectId"])

    def picture(self) -> bytes:
        """The whole page as PNG."""
        return base64.b64decode(self.ask("Page.captureScreenshot", captureBeyondViewport=True)["data"])


@contextlib.contextmanager
def open_tab(profile: Path, address: str, *, width: int, height: int = 900) -> Iterator[Tab]:
    """A page of this width; `profile` is an empty folder."""
    from websockets.sync.client import connect

    command = [str(BROWSER), "--headless=new", "--no-sandbox", "--disable-gpu", "--remote-debugging-port=0"]
    command += [f"--user-data-dir={profile}", "about:blank"]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as browser:
        try:
            told = profile / "DevToolsActivePort"
            deadline = time.monotonic() + 60
            while not told.is_file() or len(told.read_text().splitlines()) < 2:
                assert time.monotonic() < deadline, "the browser did not start"
                time.sleep(0.05)
            port, path = told.read_text().splitlines()
            with connect(f"ws://127.0.0.1:{port}{path}", max_size=None) as socket:
                target = Tab(socket).ask("Target.createTarget", url="about:blank")["targetId"]
            with connect(f"ws://127.0.0.1:{port}/devtools/page/{target}", max_size=None) as socket:
                tab = Tab(socket)
                tab.ask(
                    "Emulation.setDeviceMetricsOverride",
                    width=width,
                    height=height,
                    deviceScaleFactor=1,
                    mobile=width < 700,
                )
                tab.ask("Page.enable")
                tab.ask("Page.navigate", url=address)
                yield tab
        finally:
            browser.terminate()


def findings(tab: Tab) -> list[str]:
    """What axe calls serious or critical faults of access, with the place."""
    axe = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    tab.value(axe)
    tab.value(
        "window.found = null; axe.run({resultTypes: ['violations']}).then(r => window.found = r.violations)"
    )
    tab.wait_for("!!window.found")
    return tab.value(
        "window.found.filter(v => ['serious', 'critical'].includes(v.impact))"
        ".flatMap(v => v.nodes.map(n => v.id + ': ' + n.html.slice(0, 200)))"
    )
