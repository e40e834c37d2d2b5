"""The demo teardown on the page: a record of its own that ends with the program."""

import atexit
import tempfile
from functools import cache
from pathlib import Path

from wearview import store as record
from wearview.demo import demo_folder, demo_job
from wearview.record import Duty, parse_kinds
from wearview.report import Shop
from wearview.ui import tray
from wearview.ui.bench import bench_of
from wearview.ui.tray import ElementName, Layout

FIRST = "direct clutch"  # the element with the most to see


@cache
def demo_url() -> str:
    """The demo's record, in a folder that goes when the program ends."""
    folder = tempfile.TemporaryDirectory(prefix="wearview-demo-", ignore_cleanup_errors=True)
    url = f"sqlite:///{folder.name}/record.sqlite"

    def end() -> None:
        bench_of(url).close()  # it may be writing there
        folder.cleanup()

    atexit.register(end)
    return url


def open_demo() -> tuple[str, str]:
    """The names of the demo's teardown and of the element to begin with; its photos are being graded."""
    folder = demo_folder()
    job = demo_job(folder)
    facts, bench = job["teardown"], bench_of(demo_url())
    name = facts["name"]
    if name not in [line.name for line in record.list_teardowns(bench.store)]:
        given = {"unit": "unit", "serial": "serial", "customer_ref": "customer", "wish": "wish"}
        record.new_teardown(bench.store, name, **{key: facts.get(said) for key, said in given.items()})
        for element in job["element"]:
            place = ElementName(name, element["name"])
            record.add_element(bench.store, name, element["name"], duty=Duty(**element.get("duty", {})))
            _fill(bench.store, place, element, folder)
        for element in sorted(job["element"], key=lambda element: element["name"] != FIRST):
            bench.wake(ElementName(name, element["name"]), now=True)
    return name, FIRST


def demo_shop() -> Shop:
    """The demo's invented shop."""
    return Shop(demo_job(demo_folder())["teardown"]["shop"])


def _fill(store: record.Store, place: ElementName, element: dict, folder: Path) -> None:
    """Give an element's tray its photos, as the demo says that they lie."""
    if clean := element.get("reference"):
        tray.set_reference(store, place, clean, (folder / clean).read_bytes())
    photos = element.get("photo", [])
    given = [tray.add_photo(store, place, p["file"], (folder / p["file"]).read_bytes()) for p in photos]
    positions = tuple(position for photo in photos for position in photo.get("positions", ()))
    kinds = parse_kinds(",".join(element["kinds"])) if "kinds" in element else None
    layout = Layout(
        order=tray.BY_HAND,
        hand=tuple(photo.sha256 for photo in given),
        first=element.get("from", "apply"),
        apply_end=element.get("apply_end"),
        kinds=tuple(kinds) if kinds else None,
        positions=positions or None,
    )
    tray.lay_out(store, place, layout)
