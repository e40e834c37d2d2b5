"""The program behind the pages: Streamlit's own, with the guard in front and routes for phones beside.

`python -m wearview.ui.serve --port N [--lan [--address A]]` is what `wearview app` runs; `streamlit run
app.py` serves the same without a network.
"""

import argparse
import gc
import socket
import tomllib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import segno
from starlette.middleware import Middleware
from streamlit.starlette import App

from wearview.errors import WearviewError
from wearview.ui import capture, correct, counter, decide, door, elements, frame, here, pictures, plots, watch
from wearview.ui.bench import bench_of
from wearview.ui.gate import OPEN_NETWORK, the_gate
from wearview.ui.guard import Guard

LOADED = (correct, decide, elements, frame, plots, watch)  # what pages need, before one is asked for
SCRIPT = Path(__file__).parent / "start" / "app.py"


def surroundings() -> dict[str, Any]:
    """What `streamlit.starlette.App` takes to stand behind the guard."""
    return {
        "routes": [*door.ROUTES, *capture.ROUTES, *pictures.ROUTES, *counter.ROUTES],
        "middleware": [Middleware(Guard, gate=the_gate())],
    }


def serve(port: int, *, lan: bool, address: str | None = None) -> None:
    """Serve until interrupted; `address` is this computer's in its network, where guessing finds another."""
    options = dict(_options())
    options["server.port"] = port
    if lan:
        address = address or own_address()
        the_gate().address = f"http://{address}:{port}"
        options["server.address"] = "0.0.0.0"  # nosec B104: asked for by --lan, behind the guard
        # Also the one further origin that Streamlit takes from a websocket, so that it never asks elsewhere
        # for this computer's outer address.
        options["browser.serverAddress"] = address
        options["server.allowedHosts"] = [*options["server.allowedHosts"], address]
        _tell(the_gate().address, the_gate().new_passcode(), port)
    _make_ready()
    App(SCRIPT, **surroundings()).run(config=options)


def _make_ready() -> None:
    """Start and load what the first photo, the first page and every tap would have to wait for."""
    with suppress(WearviewError):  # every page says what is wrong with the record
        bench_of(here.url_of(here.OWN)).start()
    # Streamlit looks for garbage after every run of a page, through all that was ever loaded: 100 ms a tap.
    gc.collect()
    gc.freeze()


def own_address() -> str:
    """This computer's address in its network; its loopback address where it has no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): nothing is sent
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def _tell(address: str | None, passcode: str, port: int) -> None:
    print(f"\n{OPEN_NETWORK}\n\nOn another device open  {address}\nPasscode                {passcode}\n")
    segno.make(str(address), micro=False).terminal(compact=True)
    print(f"\nOn this computer        http://localhost:{port}  (no passcode)\n", flush=True)


def _options() -> Iterator[tuple[str, Any]]:
    """Streamlit's options from the file beside the script, by their full names."""
    text = (SCRIPT.parent / ".streamlit" / "config.toml").read_text("utf-8")
    yield from _flat("", tomllib.loads(text))


def _flat(name: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(f"{name}.{key}" if name else key, inner)
    else:
        yield name, value


def main() -> None:
    """Serve as the arguments say."""
    parser = argparse.ArgumentParser(prog="python -m wearview.ui.serve")
    parser.add_argument("--port", type=int, default=8501)
    parser.add_argument("--lan", action="store_true")
    parser.add_argument("--address")
    args = parser.parse_args()
    serve(args.port, lan=args.lan, address=args.address)


if __name__ == "__main__":
    main()
