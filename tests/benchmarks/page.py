"""Print how quick and how large the page is: ``python -m tests.benchmarks.page``. Nothing is asserted.

Photos of 12 megapixels go through a real browser into packs of forty; memory is that of `wearview app` with
all its processes, read from /proc (Linux). ``--plot FILE.svg`` draws it over the photos.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

from tests.benchmarks.photos import write_photo
from tests.chromium import Tab
from tests.served import browser, served
from wearview import store as record

PLATES = ("reference-tan.jpg", "direct-pack-3.jpg")
PACK = 40
TAPS = 12
JOB = "Job 7"
# Pressing a plate's button until its heading stands there and the script has ended, in milliseconds.
TAP = """new Promise(done => {
  const from = performance.now();
  document.querySelectorAll('.st-key-plates button')[%d].click();
  const look = () => {
    const there = [...document.querySelectorAll('h3')].some(h => h.innerText.startsWith('Position %d:'));
    const rests = document.querySelector('[data-test-script-state=notRunning]');
    if (there && rests) done(performance.now() - from); else setTimeout(look, 5);
  };
  look();
})"""


class Memory:
    """Resident memory of the server on a port and of its grading process, in MB, sampled until stopped."""

    def __init__(self, port: str) -> None:
        self.photos, self.samples, self._port = 0, [], port
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stop.wait(0.2):
            sizes = dict(_processes(self._port))
            self.samples.append((self.photos, sizes.get("serve", 0.0), sizes.get("grading", 0.0)))


def _processes(port: str) -> Iterator[tuple[str, float]]:
    """The server on a port and what it started, other pages that run meanwhile left out."""
    found = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            command = (folder / "cmdline").read_bytes().decode().split("\0")
            status = (folder / "status").read_text("utf-8")
        except OSError:
            continue  # it has ended meanwhile
        if "VmRSS:" in status and any(f"wearview.ui.{name}" in command for name in ("serve", "grading")):
            parent, size = (int(status.partition(f"{word}:")[2].split()[0]) for word in ("PPid", "VmRSS"))
            found[int(folder.name)] = (command, parent, size / 1024)
    for server, (command, _, size) in found.items():
        if port in command:
            yield "serve", size
            yield from (("grading", size) for _, parent, size in found.values() if parent == server)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser("python -m tests.benchmarks.page", description=__doc__)
    parser.add_argument("--photos", type=int, default=200, help="in packs of forty")
    parser.add_argument("--plot", type=Path, help="where to draw the memory, as SVG")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made = [write_photo(PLATES[n % 2], folder / f"{n + 1}.jpg", seed=n) for n in range(PACK)]
        clean = write_photo(PLATES[0], folder / "clean.jpg", seed=PACK)
        memory = _measure(folder, made, clean, args.photos // PACK)
    peak = max(sum(sizes) for _, *sizes in memory.samples)
    last = [sum(sizes) for photos, *sizes in memory.samples if photos == memory.photos]
    print(f"memory of the server with its grading process: peak {peak:.0f} MB, asked: under 1000 MB")
    for photos in sorted({sample[0] for sample in memory.samples}):
        held = [sum(sizes) for n, *sizes in memory.samples if n == photos]
        print(f"  with {photos:3} photos: median {statistics.median(held):4.0f} MB, peak {max(held):4.0f} MB")
    print(f"  at the end {last[-1]:.0f} MB")
    if args.plot:
        args.plot.write_text(_drawn(memory.samples), "utf-8")


def _measure(folder: Path, made: list[Path], clean: Path, packs: int) -> Memory:
    url = f"sqlite:///{folder}/record.sqlite"
    print(f"load of this machine before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    store = record.open_store(url)
    record.new_teardown(store, JOB)
    for n in range(packs):
        record.add_element(store, JOB, f"pack {n + 1}")
    with browser(folder, "browser", "about:blank", 1440) as tab, served(folder, url) as (address, _):
        memory = Memory(address.rpartition(":")[2])
        began = time.perf_counter()
        tab.ask("Page.navigate", url=address)
        tab.wait_until_drawn("Find by name")
        print(f"page usable after its address was printed {time.perf_counter() - began:5.2f} s, asked: 3 s")
        for n in range(packs):
            photos = _copies(made, folder / f"pack-{n}", bytes([n]))
            _give(tab, address, f"pack {n + 1}", photos, clean, memory, told=n == 0)
        tab.ask("Page.navigate", url=f"{address}/pack?teardown={JOB}&element=pack 1")
        tab.wait_until_drawn("What the pack shows")
        tab.wait_for("document.querySelectorAll('.st-key-plates button').length")
        tab.wait_until_drawn("What the pack shows")
        plates = tab.value("document.querySelectorAll('.st-key-plates button').length")
        taps = [_tap(tab, (7 * n) % plates) for n in range(TAPS)]
        print(
            f"a tap with {PACK} photos and {plates} parts open: median {statistics.median(taps):.0f} ms, "
            f"worst {max(taps):.0f} ms, asked: 500 ms"
        )
        memory.stop()
    return memory


def _copies(made: list[Path], folder: Path, mark: bytes) -> list[Path]:
    """Other files with the same pictures: a byte after a JPEG's end changes its hash alone."""
    folder.mkdir()
    for photo in made:
        (folder / photo.name).write_bytes(photo.read_bytes() + mark)
    return [folder / photo.name for photo in made]


def _give(
    tab: Tab, address: str, element: str, photos: list[Path], clean: Path, memory: Memory, *, told: bool
) -> None:
    """Give a pack its photos on the page and wait until it is stored."""
    tab.ask("Page.navigate", url=f"{address}/photos?teardown={JOB}&element={element}")
    tab.wait_until_drawn("Clean reference: none so far")
    tab.upload("[class*=st-key-clean] input", [clean])
    tab.wait_until_drawn("Clean reference: clean.jpg")
    for k, photo in enumerate(photos[:2]):  # the first one waits for the grading process to start
        tab.upload("[class*=st-key-photos] input", [photo])
        tab.wait_for(f"document.body.innerText.includes('{k + 1}. {photo.name}')", pause=0.01)
        began = time.perf_counter()
        tab.wait_for(f"(document.body.innerText.match(/Level \\d/g) ?? []).length > {k}", pause=0.01)
        if told:
            taken = time.perf_counter() - began
            print(f"photo {k + 1} of 12 MP, from its upload to its grade {taken:5.2f} s, asked: 2 s")
        memory.photos += 1
    began = time.perf_counter()
    tab.upload("[class*=st-key-photos] input", photos[2:])
    tab.wait_for(f"document.body.innerText.includes('{PACK}. {PACK}.jpg')", 300)
    memory.photos += len(photos) - 2
    given = time.perf_counter() - began
    tab.wait_for(f"document.body.innerText.includes('Graded and stored: {PACK} photos')", 600)
    if told:
        whole = time.perf_counter() - began
        print(
            f"{PACK - 2} more at once: on the disk after {given:.1f} s, graded and stored after {whole:.1f} s"
        )


def _tap(tab: Tab, plate: int) -> float:
    asked = tab.ask(
        "Runtime.evaluate", expression=TAP % (plate, plate + 1), awaitPromise=True, returnByValue=True
    )
    return float(asked["result"]["value"])


def _drawn(samples: list[tuple[int, float, float]]) -> str:
    """Memory over time as SVG, a line at each pack and one at 1000 MB."""
    width, height, top = 900, 360, 1200.0

    def x(n: int) -> float:
        return 60 + n * (width - 80) / max(1, len(samples) - 1)

    def y(size: float) -> float:
        return height - 40 - size * (height - 60) / top

    lines = []
    for colour, of in (("#1d5f73", lambda s: s[1] + s[2]), ("#b8621b", lambda s: s[1])):
        points = " ".join(f"{x(n):.1f},{y(of(s)):.1f}" for n, s in enumerate(samples))
        lines.append(f'<polyline fill="none" stroke="{colour}" stroke-width="1.5" points="{points}"/>')
    for size in range(0, 1201, 200):
        limit = ' stroke-dasharray="6 4"' if size == 1000 else ""
        lines.append(
            f'<path d="M60 {y(size):.1f}H{width - 20}" stroke="#888" stroke-width=".6"{limit}/>'
            f'<text x="52" y="{y(size) + 4:.1f}" text-anchor="end">{size}</text>'
        )
    for n, (before, after) in enumerate(pairwise(samples), start=1):
        if after[0] > before[0] + 1:
            lines.append(f'<text x="{x(n):.1f}" y="{height - 14}" text-anchor="middle">{after[0]}</text>')
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif" '
        f'font-size="13"><rect width="100%" height="100%" fill="#fff"/>{"".join(lines)}'
        '<text x="60" y="16">MB over photos given: server and grading process (blue), server (brown)</text>'
        "</svg>"
    )


if __name__ == "__main__":
    main()
