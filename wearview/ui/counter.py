"""The report on the counter: full screen, in large type, nothing to edit, for the customer to read.

A page apart from the others: nobody who reads it comes to the shop's own pages by chance. The way back is a
button that has to be held.
"""

import hashlib
from functools import lru_cache
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from wearview import store as record
from wearview.errors import WearviewError
from wearview.record import Known, Teardown
from wearview.report import Shop, counter_html, load_shop, shop_folder
from wearview.report.templates import templates
from wearview.ui import here
from wearview.ui.bench import bench_of
from wearview.ui.demo import demo_shop
from wearview.ui.door import HEADERS

_PAGE_HEADERS = HEADERS | {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; script-src 'self'; "
    "frame-src 'self'; img-src data:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
}
_REPORT_HEADERS = HEADERS | {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    "frame-ancestors 'self'; base-uri 'none'; form-action 'none'",
    "X-Frame-Options": "SAMEORIGIN",
}


def address(teardown: str, left_out: tuple[str, ...]) -> str:
    """Where the report of a teardown of the open record is read; `left_out` are photos by their sha256."""
    return f"/counter/{here.which_record()}?{urlencode({'teardown': teardown, 'out': left_out}, doseq=True)}"


def shop_of(which: str) -> Shop:
    """Who hands a record's reports over."""
    return demo_shop() if which == here.DEMO else load_shop(shop_folder())


def stamp(store: record.Store, teardown: Teardown, which: str) -> tuple[str, ...]:
    """What changes with the report of a teardown: with its record, in which nothing is ever altered, and with
    the shop's own lines."""
    gradings = (g.document_sha256 for element in teardown.elements for g in element.gradings)
    said = (f"{len(element.verdicts)} {element.duty}" for element in teardown.elements)
    beside = (f"{shown}" for shown in (teardown.checklist, teardown.inspections, teardown.measured))
    shop = hashlib.sha256(repr(shop_of(which)).encode()).hexdigest()
    job = (teardown.unit, teardown.serial, teardown.customer, teardown.wish, teardown.mileage, teardown.blind)
    known = Known(tuple(record.earlier_teardowns(store, teardown.name))).stamp
    return (store.label, teardown.name, f"{job}", *gradings, *said, *beside, *known, shop)


async def page(request: Request) -> Response:
    """The frame around the report, with the way back."""
    which, teardown = request.path_params["record"], request.query_params.get("teardown", "")
    back = {"teardown": teardown} | ({"record": here.DEMO} if which == here.DEMO else {})
    html = (
        templates()
        .get_template("counter.html")
        .render(
            teardown=teardown,
            report=f"/counter/{which}/report?{request.url.query}",
            back=f"/report?{urlencode(back)}",
        )
    )
    return HTMLResponse(html, 200, _PAGE_HEADERS)


async def report(request: Request) -> Response:
    """The report itself, as it is at this moment."""
    teardown, left_out = request.query_params.get("teardown", ""), request.query_params.getlist("out")
    try:
        html = await run_in_threadpool(_report, request.path_params["record"], teardown, tuple(left_out))
    except WearviewError as error:
        return PlainTextResponse(str(error), 404, _REPORT_HEADERS)
    return HTMLResponse(html, 200, _REPORT_HEADERS)


async def script(request: Request) -> Response:
    """The frame's script."""
    return Response(templates().get_template("counter.js").render(), 200, HEADERS, "text/javascript")


def _report(which: str, name: str, left_out: tuple[str, ...]) -> bytes:
    store = bench_of(here.url_of(which)).store
    return _written(stamp(store, record.get_teardown(store, name), which), which, name, left_out)


@lru_cache(maxsize=2)
def _written(stamped: tuple[str, ...], which: str, name: str, left_out: tuple[str, ...]) -> bytes:
    """The report under its stamp: 40 pictures take seconds to make small."""
    store = bench_of(here.url_of(which)).store
    teardown = record.get_teardown(store, name)
    return counter_html(
        teardown,
        lambda sha256: record.photo_bytes(store, sha256),
        shop=shop_of(which),
        known=record.known_of(store, teardown),
        left_out=left_out,
    )


ROUTES = [
    Route("/counter/counter.js", script),
    Route("/counter/{record}", page),
    Route("/counter/{record}/report", report),
]
