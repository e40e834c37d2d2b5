"""The door: a form that asks for the passcode."""

from urllib.parse import parse_qs

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from wearview.errors import CallError
from wearview.report.templates import templates
from wearview.ui.gate import SESSION_S, the_gate
from wearview.ui.guard import COOKIE

LONGEST_FORM = 4096  # bytes
# Nothing from elsewhere, in no frame.
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
}


async def ask(request: Request) -> Response:
    """The form."""
    return _form(_inside(request.query_params.get("next", "/")), None)


async def enter(request: Request) -> Response:
    """Let a device in whose passcode is right."""
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > LONGEST_FORM:
            return _form("/", "That was too long for a passcode.", 413)
    given = {name: values[0] for name, values in parse_qs(body.decode("utf-8", "replace")).items()}
    onward = _inside(given.get("next", "/"))
    who = request.client.host if request.client else "unknown"
    try:
        token = await run_in_threadpool(the_gate().enter, given.get("passcode", ""), who)
    except CallError as error:
        return _form(onward, f"{error.problem.capitalize()}. {error.remedy}.", 403)
    answer = RedirectResponse(onward, 303)
    answer.set_cookie(COOKIE, token, max_age=SESSION_S, httponly=True, samesite="strict")
    return answer


def _form(onward: str, problem: str | None, status: int = 200) -> Response:
    page = templates().get_template("enter.html").render(onward=onward, problem=problem)
    return HTMLResponse(page, status, HEADERS)


def _inside(path: str) -> str:
    """A path of this server, never the address of another one."""
    return path if path.startswith("/") and not path.startswith(("//", "/\\")) else "/"


ROUTES = [Route("/enter", ask, methods=["GET"]), Route("/enter", enter, methods=["POST"])]
