"""In front of everything that is served: pages, pictures, uploads and the websocket alike.

Three questions for every request. Is it meant for this computer's own name or address (another site's name
may be pointed here)? Does it come from a page of ours (a browser says from where)? And from another device:
has it a session?

Every answer says what a browser may do with it: load and run nothing from elsewhere, show it in no other
site's frame, guess no other type, tell no other site where it was.
"""

from urllib.parse import quote, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from wearview.ui.gate import Gate

COOKIE = "wearview_session"
OWN_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
# Open to every device: the door itself, and capture pages, which ask for their ticket.
DOOR, CAPTURE = "/enter", "/take/"
# Streamlit's pages make their scripts and styles as they run, and load parts of them from blobs; what answers
# for itself (the door, capture pages) says something stricter, which stays.
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; "
    "script-src 'self' 'unsafe-inline' 'unsafe-eval' blob: data:; "
    "style-src 'self' 'unsafe-inline' blob: data:; img-src 'self' data: blob:; font-src 'self' data:; "
    "connect-src 'self' ws: data: blob:; worker-src 'self' blob:; object-src 'none'; base-uri 'self'; "
    "form-action 'self'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
_FORWARDED = ("forwarded", "x-forwarded-for", "x-real-ip")


class Guard:
    """ASGI middleware.

    Parameters
    ----------
    app : ASGI application
    gate : Gate
        Its `address` says by which name other devices may come; None for none.
    """

    def __init__(self, app: ASGIApp, gate: Gate) -> None:
        self._app, self._gate = app, gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it here."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        refusal = self._refusal(HTTPConnection(scope))
        if refusal is None:
            await self._app(scope, receive, send_guarded)
        elif scope["type"] == "websocket":
            # Closed before it was accepted: the server answers 403.
            await send({"type": "websocket.close", "code": 1008})
        else:
            await refusal(scope, receive, send_guarded)

    def _refusal(self, request: HTTPConnection) -> Response | None:
        host = _host(request.headers)
        address = self._gate.address
        if host not in OWN_NAMES and (address is None or host != urlsplit(address).hostname):
            return PlainTextResponse("Not served under this name.", 403)
        origin = request.headers.get("origin")
        if origin is not None and urlsplit(origin).netloc != request.headers["host"]:
            return PlainTextResponse("Not from one of our pages.", 403)
        if _is_this_computer(request, host):
            return None
        if address is None:
            return PlainTextResponse("Served to this computer only.", 403)
        path = request.url.path
        if path == DOOR or path.startswith(CAPTURE) or self._gate.admits(request.cookies.get(COOKIE)):
            return None
        if "text/html" in request.headers.get("accept", ""):
            asked = path + (f"?{request.url.query}" if request.url.query else "")
            return RedirectResponse(f"/enter?next={quote(asked, safe='')}", 303)
        return PlainTextResponse("Type the passcode first.", 401)


def _host(headers: Headers) -> str | None:
    try:
        return urlsplit(f"//{headers.get('host', '')}").hostname
    except ValueError:
        return None


def _is_this_computer(request: HTTPConnection, host: str | None) -> bool:
    """Whether the browser runs here. What a proxy passes on comes from here too, but was asked elsewhere."""
    passed_on = any(header in request.headers for header in _FORWARDED)
    own = request.client is not None and request.client.host in ("127.0.0.1", "::1")
    return own and host in OWN_NAMES and not passed_on
