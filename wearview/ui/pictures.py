"""Pictures for the pages by an address of their own, so that a tap sends words and a browser asks for each
picture once.

Behind the guard like everything else. What lies under an address never changes: it is named by its sha256.
"""

import re
from functools import lru_cache

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from wearview import store as record
from wearview.errors import WearviewError
from wearview.report.pictures import screen_picture, small_picture
from wearview.ui import here
from wearview.ui.bench import SMALL_WIDTH, bench_of

# A photo upright, its overlay, the overlay for a list, and one of those that is not stored yet.
PHOTO, MARKED, SMALL, NEW = "photo", "marked", "small", "new"
_HEADERS = {"Cache-Control": "private, max-age=31536000, immutable", "X-Content-Type-Options": "nosniff"}


def address(kind: str, sha256: str) -> str:
    """Where the browser finds a kept picture of the record that is open, by its sha256."""
    return f"/picture/{here.which_record()}/{kind}/{sha256}"


async def picture(request: Request) -> Response:
    """A kept picture as JPEG."""
    asked = request.path_params
    if not re.fullmatch("[0-9a-f]{64}", asked["sha256"]):
        return PlainTextResponse("This is no picture.", 404)
    try:
        jpeg = await run_in_threadpool(_made, here.url_of(asked["record"]), asked["kind"], asked["sha256"])
    except (WearviewError, KeyError):
        return PlainTextResponse("There is no such picture.", 404)
    return Response(jpeg, 200, _HEADERS, "image/jpeg")


@lru_cache(maxsize=64)
def _made(url: str | None, kind: str, sha256: str) -> bytes:
    bench = bench_of(url)
    return bench.overlay(sha256) if kind == NEW else _MAKERS[kind](record.photo_bytes(bench.store, sha256))


_MAKERS = {
    PHOTO: lambda data: screen_picture(data, "photo"),
    MARKED: lambda jpeg: jpeg,
    SMALL: lambda jpeg: small_picture(jpeg, SMALL_WIDTH),
}
ROUTES = [Route("/picture/{record}/{kind}/{sha256}", picture)]
