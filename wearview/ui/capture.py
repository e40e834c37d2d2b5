"""The capture page: what a phone at the bench opens by a QR code, for one element.

A phone that opens its camera puts the browser to sleep, and a websocket does not live through that. So this
page needs none: it keeps photos on the phone until each was answered for, one request a photo, and the answer
comes only when the photo is on this computer's disk.
"""

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from wearview import store as record
from wearview.errors import WearviewError
from wearview.report.templates import templates
from wearview.ui import again, told, tray
from wearview.ui.bench import bench_of
from wearview.ui.door import HEADERS
from wearview.ui.gate import Ticket, the_gate

SCRIPTS = ("take.js", "order.js")
LARGEST = 200 * 2**20  # bytes of a photo: a 16-bit TIFF of 24 megapixels has 144 MB
_PAGE_HEADERS = HEADERS | {
    "Content-Security-Policy": HEADERS["Content-Security-Policy"].replace(
        "form-action", "script-src 'self'; connect-src 'self'; form-action"
    )
}
ENDED = "This code has ended. Scan the one on the computer's screen again; photos waiting here are kept."
CLOSED = (
    "This teardown is closed and takes no photos. Open it again on the computer's page Photos; photos "
    "waiting here are kept."
)


async def page(request: Request) -> Response:
    """The page itself."""
    code = request.path_params["code"]
    opens = the_gate().ticket(code)
    html = (
        templates().get_template("take.html").render(opens=opens, code=code, ended=ENDED, beside=told.BESIDE)
    )
    return HTMLResponse(html, 200 if opens else 410, _PAGE_HEADERS)


async def script(request: Request) -> Response:
    """One of its scripts; they hold nothing secret."""
    code = templates().get_template(request.url.path.rpartition("/")[2]).render()
    return Response(code, 200, HEADERS, "text/javascript")


async def give(request: Request) -> Response:
    """Take one photo, or the clean plate's; answered when it is on the disk."""
    opens = the_gate().ticket(request.path_params["code"])
    if opens is None:
        return JSONResponse({"problem": ENDED}, 410)
    try:
        data = await _body(request)
    except ClientDisconnect:  # the phone went to sleep; it sends the photo again
        return PlainTextResponse("", 400)
    if data is None:
        return JSONResponse({"problem": "This file is too large for a photo."}, 413)
    if not data:
        return JSONResponse({"problem": "The photo arrived empty."}, 400)
    called = request.query_params.get("name") or "photo.jpg"
    put = _reference if request.query_params.get("as") == "reference" else _photo
    return await _answered(opens, lambda: put(opens, called, data, request.query_params.get("replaces")))


async def leave_out(request: Request) -> Response:
    """Take a photo out of the tray."""
    opens = the_gate().ticket(request.path_params["code"])
    if opens is None:
        return JSONResponse({"problem": ENDED}, 410)
    return await _answered(opens, lambda: _out(opens, request.path_params["sha256"]))


async def arrange(request: Request) -> Response:
    """Put the photos in the order that the phone says, as a list of their sha256."""
    opens = the_gate().ticket(request.path_params["code"])
    if opens is None:
        return JSONResponse({"problem": ENDED}, 410)
    data = await _body(request)
    try:
        hand = tuple(str(sha256) for sha256 in json.loads(data or b"[]"))
    except (ValueError, TypeError):
        return JSONResponse({"problem": "This is no order of photos."}, 400)
    return await _answered(opens, lambda: _arrange(opens, hand))


async def beside(request: Request) -> Response:
    """Say what a photo shows beside the one before it."""
    opens = the_gate().ticket(request.path_params["code"])
    if opens is None:
        return JSONResponse({"problem": ENDED}, 410)
    what = request.query_params.get("what")
    if what not in again.BESIDE:
        return JSONResponse({"problem": "This is nothing that a photo can show."}, 400)
    return await _answered(opens, lambda: _beside(opens, request.path_params["sha256"], what))


async def state(request: Request) -> Response:
    """What lies in the tray and what it shows."""
    opens = the_gate().ticket(request.path_params["code"])
    if opens is None:
        return JSONResponse({"problem": ENDED}, 410)
    return await _answered(opens, lambda: _state(opens))


async def _body(request: Request) -> bytes | None:
    """The request's body; None where it is too large."""
    pieces, size = [], 0
    async for piece in request.stream():
        size += len(piece)
        if size > LARGEST:
            return None
        pieces.append(piece)
    return b"".join(pieces)


async def _answered(opens: Ticket, work: Callable[[], dict[str, Any]]) -> Response:
    def done() -> dict[str, Any] | None:
        closed = record.is_closed(bench_of(opens.url).store, opens.name.teardown)
        return None if closed else work()

    try:
        told = await run_in_threadpool(done)
    except WearviewError as error:
        return JSONResponse({"problem": str(error)}, 507)
    if told is None:
        return JSONResponse({"problem": CLOSED}, 409)
    return JSONResponse(told, 200, {"Cache-Control": "no-store"})


def _photo(opens: Ticket, called: str, data: bytes, replaces: str | None) -> dict[str, Any]:
    bench = bench_of(opens.url)
    if replaces:
        photo = tray.replace_photo(bench.store, opens.name, replaces, called, data)
    else:
        photo = tray.add_photo(bench.store, opens.name, called, data)
    bench.wake(opens.name)
    return {"kept": photo.sha256}


def _reference(opens: Ticket, called: str, data: bytes, _replaces: str | None) -> dict[str, Any]:
    bench = bench_of(opens.url)
    photo = tray.set_reference(bench.store, opens.name, called, data)
    bench.wake(opens.name)
    return {"kept": photo.sha256}


def _out(opens: Ticket, sha256: str) -> dict[str, Any]:
    bench = bench_of(opens.url)
    tray.leave_out(bench.store, opens.name, sha256)
    bench.wake(opens.name)
    return {}


def _arrange(opens: Ticket, hand: tuple[str, ...]) -> dict[str, Any]:
    bench = bench_of(opens.url)
    lying = tray.read_tray(bench.store, opens.name)
    known = {photo.sha256 for photo in lying.photos}
    layout = replace(lying.layout, order=tray.BY_HAND, hand=tuple(one for one in hand if one in known))
    tray.lay_otherwise(bench.store, opens.name, layout)
    bench.wake(opens.name)
    return {}


def _beside(opens: Ticket, sha256: str, what: str) -> dict[str, Any]:
    bench = bench_of(opens.url)
    lying = tray.read_tray(bench.store, opens.name)
    order = [photo.sha256 for photo in lying.photos]
    if sha256 in order[1:]:
        said = again.with_beside(order, lying.again, order.index(sha256), what)
        tray.say_again(bench.store, opens.name, said)
        bench.wake(opens.name)
    return {}


def _state(opens: Ticket) -> dict[str, Any]:
    bench = bench_of(opens.url)
    lying = tray.read_tray(bench.store, opens.name)
    bench.look(opens.name, lying)
    photos = []
    order = [photo.sha256 for photo in lying.photos]
    for n, photo in enumerate(lying.photos):
        photos.append(
            {
                "sha256": photo.sha256,
                "name": photo.name,
                **asdict(told.told(bench, lying, photo, blind=opens.blind)),
                "beside": again.beside(order, lying.again, n) if n else None,
            }
        )
    return {
        "photos": photos,
        "reference": lying.clean,
        "problem": bench.work(opens.name).error,
    }


async def gone(request: Request) -> Response:
    """Any other path under the capture page."""
    return PlainTextResponse("There is nothing here.", 404)


ROUTES = [
    *(Route(f"/take/{name}", script) for name in SCRIPTS),
    Route("/take/{code}", page),
    Route("/take/{code}/photo", give, methods=["POST"]),
    Route("/take/{code}/out/{sha256}", leave_out, methods=["POST"]),
    Route("/take/{code}/order", arrange, methods=["POST"]),
    Route("/take/{code}/beside/{sha256}", beside, methods=["POST"]),
    Route("/take/{code}/state", state),
    Route("/take/{rest:path}", gone),
]
