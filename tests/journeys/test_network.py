"""Other devices of the shop's network: the gate, the guard in front of everything, and the capture page."""

import asyncio
import io
import json
from pathlib import Path
from urllib.parse import urlencode

import pytest
from PIL import Image
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute

from wearview import store as record
from wearview.errors import CallError
from wearview.ui import bench, capture, door, gate, guard, pictures, tray
from wearview.ui.tray import ElementName

ROOT = Path(__file__).parents[2]
PHOTO = (ROOT / "demo_images" / "direct-pack-3.jpg").read_bytes()
SHOP = "192.168.0.2:8501"
PHONE, HERE = "192.168.0.7", "127.0.0.1"
NAME = ElementName("Job 7", "Forward")


class Clock:
    """A clock that is set by hand."""

    now = 0.0

    def __call__(self):
        return self.now


class Reached(Exception):
    """A request came through to the websocket."""


async def websocket_reached(socket):
    raise Reached


@pytest.fixture
def site(monkeypatch, tmp_path):
    """The doors and the capture page behind the guard, beside a page and a websocket like Streamlit's."""
    monkeypatch.setenv("WEARVIEW_STORE", f"sqlite:///{tmp_path}/record.sqlite")
    monkeypatch.setattr(gate.the_gate(), "address", f"http://{SHOP}")
    gate.the_gate().new_passcode()
    routes = [
        *door.ROUTES,
        *capture.ROUTES,
        *pictures.ROUTES,
        WebSocketRoute("/_stcore/stream", websocket_reached),
        Route("/{rest:path}", lambda request: PlainTextResponse("the page"), methods=["GET", "PUT"]),
    ]
    yield Starlette(routes=routes, middleware=[Middleware(guard.Guard, gate=gate.the_gate())])
    bench.bench_of(f"sqlite:///{tmp_path}/record.sqlite").close()


def call(site, method, path, *, client=PHONE, host=SHOP, body=b"", cut=False, kind="http", **headers):
    """Status, headers and body of one request; `cut` breaks it off in the middle of its body."""
    sent = []
    path, _, query = path.partition("?")
    fields = {"host": host, **{name.replace("_", "-"): value for name, value in headers.items()}}
    scope = {
        "type": kind,
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "path": path,
        "raw_path": path.encode(),
        "root_path": "",
        "query_string": query.encode(),
        "scheme": "http" if kind == "http" else "ws",
        "headers": [(name.encode(), value.encode()) for name, value in fields.items()],
        "client": (client, 5000),
        "server": ("shop", 8501),
        "subprotocols": [],
    }
    pieces = [{"type": "http.request", "body": body, "more_body": cut}]
    pieces.append({"type": "http.disconnect"})

    async def receive():
        return pieces.pop(0) if pieces else {"type": "http.disconnect"}

    async def send(message):
        sent.append(message)

    asyncio.run(site(scope, receive, send))
    if kind == "websocket":
        return sent[0]["type"]
    headers = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], headers, b"".join(m.get("body", b"") for m in sent[1:])


def enter(site, passcode, onward="/"):
    body = urlencode({"passcode": passcode, "next": onward}).encode()
    return call(site, "POST", "/enter", body=body, origin=f"http://{SHOP}")


def cookie_of(headers):
    return headers["set-cookie"].partition(";")[0]


def open_tray(tmp_path):
    store = record.open_store(f"sqlite:///{tmp_path}/record.sqlite")
    record.new_teardown(store, NAME.teardown)
    record.add_element(store, NAME.teardown, NAME.element)
    opens = gate.Ticket(NAME, f"sqlite:///{tmp_path}/record.sqlite")
    return store, gate.the_gate().new_ticket(opens)


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/"),
        ("GET", "/pack"),
        ("GET", "/media/0123.jpg"),
        ("GET", "/picture/own/photo/" + 64 * "0"),
        ("GET", "/static/js/index.js"),
        ("GET", "/component/x/index.html"),
        ("GET", "/_stcore/health"),
        ("PUT", "/_stcore/upload_file/a/b"),
        ("GET", "/enterprise"),
    ],
)
def test_another_device_reaches_nothing_without_a_session(site, method, path):
    assert call(site, method, path)[0] == 401


@pytest.mark.parametrize(
    ("client", "host", "path", "status"),
    [
        (HERE, "localhost:8501", "/", 200),
        (HERE, "localhost:8501", "/take/none", 410),
        (PHONE, SHOP, "/", 401),
        (PHONE, SHOP, "/enter", 200),
        (PHONE, "elsewhere.example", "/", 403),
    ],
)
def test_every_answer_tells_the_browser_to_load_and_frame_nothing_from_elsewhere(
    site, client, host, path, status
):
    """The headers that OWASP's Secure Headers Project lists for plain HTTP (from memory)."""
    found, headers, _ = call(site, "GET", path, client=client, host=host)
    assert found == status
    headers = {name.lower(): value for name, value in headers.items()}
    assert headers.keys() >= {name.lower() for name in guard.HEADERS}
    policy = dict(part.strip().partition(" ")[::2] for part in headers["content-security-policy"].split(";"))
    assert policy["frame-ancestors"] == "'none'"
    assert policy["default-src"] in ("'self'", "'none'")
    assert not any(place in value for value in policy.values() for place in ("*", "http:", "https:"))
    assert headers["x-content-type-options"] == "nosniff"


def test_a_browser_of_another_device_is_led_to_the_door_and_back(site):
    status, headers, _ = call(site, "GET", "/pack?teardown=Job+7", accept="text/html,*/*")
    assert (status, headers["location"]) == (303, "/enter?next=%2Fpack%3Fteardown%3DJob%2B7")


def test_the_websocket_is_closed_to_another_device_and_open_with_a_session(site):
    assert call(site, "GET", "/_stcore/stream", kind="websocket") == "websocket.close"
    _, headers, _ = enter(site, gate.the_gate().new_passcode())
    with pytest.raises(Reached):
        call(site, "GET", "/_stcore/stream", kind="websocket", cookie=cookie_of(headers))
    elsewhere = {"cookie": cookie_of(headers), "origin": "http://elsewhere.example"}
    assert call(site, "GET", "/_stcore/stream", kind="websocket", **elsewhere) == "websocket.close"


def test_the_right_passcode_opens_the_page_that_was_asked_for(site):
    code = gate.the_gate().new_passcode()
    status, headers, _ = enter(site, code.upper().replace("-", " "), "/pack?teardown=Job+7")
    assert (status, headers["location"]) == (303, "/pack?teardown=Job+7")
    assert "HttpOnly" in headers["set-cookie"]
    assert "samesite=strict" in headers["set-cookie"].lower()
    assert call(site, "GET", "/pack", cookie=cookie_of(headers))[2] == b"the page"


@pytest.mark.parametrize(
    "onward", ["//elsewhere.example", "http://elsewhere.example", "/\\elsewhere.example"]
)
def test_the_door_leads_to_no_other_site(site, onward):
    assert enter(site, gate.the_gate().new_passcode(), onward)[1]["location"] == "/"


def test_a_wrong_passcode_says_so_and_sets_no_cookie(site):
    status, headers, body = enter(site, "wrong")
    assert status == 403
    assert "set-cookie" not in headers
    assert b"not the right one" in body


def test_this_computer_needs_no_passcode_but_what_a_proxy_passes_on_does(site):
    assert call(site, "GET", "/", client=HERE, host="localhost:8501")[0] == 200
    assert call(site, "GET", "/", client=HERE, host="localhost:8501", x_forwarded_for=PHONE)[0] == 401


@pytest.mark.parametrize("host", ["elsewhere.example", "192.168.0.2.elsewhere.example", "[", ""])
def test_another_sites_name_is_not_served_even_to_this_computer(site, host):
    assert call(site, "GET", "/", client=HERE, host=host)[0] == 403


def test_nothing_but_this_computer_is_served_while_the_network_is_closed(site, monkeypatch):
    monkeypatch.setattr(gate.the_gate(), "address", None)
    assert call(site, "GET", "/")[0] == 403
    assert call(site, "GET", "/", host="localhost:8501")[0] == 403
    assert call(site, "GET", "/", client=HERE, host="localhost:8501")[0] == 200


def test_five_wrong_tries_close_the_door_to_a_device_for_a_quarter_of_an_hour():
    clock = Clock()
    one = gate.Gate(clock)
    code = one.new_passcode()
    for _ in range(gate.TRIES_EACH):
        with pytest.raises(CallError, match="not the right one"):
            one.enter("wrong", PHONE)
    with pytest.raises(CallError, match="too many wrong tries"):
        one.enter(code, PHONE)
    assert one.admits(one.enter(code, "192.168.0.8"))
    clock.now = gate.TRIES_WINDOW_S + 1
    assert one.admits(one.enter(code, PHONE))


def test_many_devices_together_have_no_more_tries_than_all_have():
    one = gate.Gate(Clock())
    for n in range(gate.TRIES_ALL):
        with pytest.raises(CallError, match="not the right one"):
            one.enter("wrong", f"192.168.1.{n}")
    with pytest.raises(CallError, match="too many wrong tries"):
        one.enter("wrong", "192.168.2.1")


def test_sessions_and_tickets_end_and_a_new_passcode_ends_sessions():
    clock = Clock()
    one = gate.Gate(clock)
    token, ticket = one.enter(one.new_passcode(), PHONE), one.new_ticket(gate.Ticket(NAME))
    assert one.admits(token)
    assert one.ticket(ticket) == gate.Ticket(NAME)
    clock.now = max(gate.SESSION_S, gate.TICKET_S) + 1
    assert not one.admits(token)
    assert one.ticket(ticket) is None
    token = one.enter(one.new_passcode(), PHONE)
    one.new_passcode()
    assert not one.admits(token)


def test_passcode_sessions_and_tickets_are_kept_as_hashes_only():
    one = gate.Gate(Clock())
    code = one.new_passcode()
    told = [code, code.replace("-", ""), one.enter(code, PHONE), one.new_ticket(gate.Ticket(NAME))]
    kept = repr(vars(one))
    assert not any(secret in kept for secret in told)


def test_a_ticket_opens_the_capture_page_of_its_element_and_nothing_else(site, tmp_path):
    _, code = open_tray(tmp_path)
    status, headers, body = call(site, "GET", f"/take/{code}")
    assert status == 200
    assert b"Forward" in body
    assert "default-src 'none'" in headers["content-security-policy"]
    assert call(site, "GET", "/take/guessed")[0] == 410
    assert call(site, "POST", "/take/guessed/photo", body=PHOTO)[0] == 410
    assert call(site, "GET", "/pack")[0] == 401


def test_a_photo_is_on_the_disk_when_the_phone_is_answered(site, tmp_path):
    store, code = open_tray(tmp_path)
    status, _, body = call(site, "POST", f"/take/{code}/photo?name=IMG_1.jpg", body=PHOTO)
    assert status == 200
    assert record.photo_bytes(store, json.loads(body)["kept"]) == PHOTO
    assert [photo.name for photo in tray.read_tray(store, NAME).photos] == ["IMG_1.jpg"]
    call(site, "POST", f"/take/{code}/photo?name=IMG_1.jpg", body=PHOTO)  # sent again: the answer was lost
    assert len(tray.read_tray(store, NAME).photos) == 1


def test_a_closed_teardown_takes_nothing_from_a_phone_until_it_is_opened_again(site, tmp_path):
    store, code = open_tray(tmp_path)
    given = tray.add_photo(store, NAME, "a.jpg", PHOTO).sha256
    record.close_teardown(store, NAME.teardown)
    for method, path in (
        ("GET", "state"),
        ("POST", "photo?name=b.jpg"),
        ("POST", "photo?as=reference"),
        ("POST", f"out/{given}"),
        ("POST", "order"),
        ("POST", f"beside/{given}?what=same"),
    ):
        status, _, body = call(site, method, f"/take/{code}/{path}", body=b"[]")
        assert (status, json.loads(body)["problem"]) == (409, capture.CLOSED), path
    lying = tray.read_tray(store, NAME)
    assert ([photo.name for photo in lying.photos], lying.reference) == (["a.jpg"], None)
    record.reopen_teardown(store, NAME.teardown)
    assert call(site, "POST", f"/take/{code}/photo?name=b.jpg", body=PHOTO + b" ")[0] == 200


def test_an_upload_that_breaks_off_leaves_nothing(site, tmp_path):
    store, code = open_tray(tmp_path)
    assert call(site, "POST", f"/take/{code}/photo?name=IMG_1.jpg", body=PHOTO[:5000], cut=True)[0] == 400
    assert tray.read_tray(store, NAME).photos == ()


def test_a_file_too_large_or_empty_is_refused_in_words(site, tmp_path, monkeypatch):
    _, code = open_tray(tmp_path)
    monkeypatch.setattr(capture, "LARGEST", 1000)
    status, _, body = call(site, "POST", f"/take/{code}/photo", body=PHOTO)
    assert (status, b"too large" in body) == (413, True)
    status, _, body = call(site, "POST", f"/take/{code}/photo")
    assert (status, b"empty" in body) == (400, True)


def test_the_phone_is_told_what_its_photos_show_and_what_to_change(site, tmp_path):
    store, code = open_tray(tmp_path)
    call(site, "POST", f"/take/{code}/photo?name=a.jpg", body=PHOTO)
    call(site, "POST", f"/take/{code}/photo?name=b.jpg", body=b"words")
    at = bench.bench_of(f"sqlite:///{tmp_path}/record.sqlite")
    at.wake(NAME, now=True)
    at.wait(NAME)
    told = json.loads(call(site, "GET", f"/take/{code}/state")[2])
    assert [photo["graded"] for photo in told["photos"]] == [True, True]
    assert told["photos"][0]["shown"]
    assert "not an image we can read" in told["photos"][1]["change"][0]
    call(
        site,
        "POST",
        f"/take/{code}/photo?name=c.jpg&replaces={told['photos'][1]['sha256']}",
        body=PHOTO + b" ",
    )
    assert [photo.name for photo in tray.read_tray(store, NAME).photos] == ["a.jpg", "c.jpg"]
    call(site, "POST", f"/take/{code}/out/{told['photos'][0]['sha256']}")
    assert [photo.name for photo in tray.read_tray(store, NAME).photos] == ["c.jpg"]


def test_the_phone_is_told_that_its_photo_of_a_clean_plate_cannot_serve(site, tmp_path):
    store, code = open_tray(tmp_path)
    call(site, "POST", f"/take/{code}/photo?name=clean.jpg&as=reference", body=b"words")
    call(site, "POST", f"/take/{code}/photo?name=a.jpg", body=PHOTO)
    at = bench.bench_of(f"sqlite:///{tmp_path}/record.sqlite")

    def problem():
        at.wake(NAME, now=True)
        at.wait(NAME)
        call(
            site, "GET", f"/take/{code}/state"
        )  # a phone looks every few seconds; the first look wakes the bench
        at.wait(NAME)
        return json.loads(call(site, "GET", f"/take/{code}/state")[2])["problem"]

    assert problem().startswith("clean.jpg: ")
    tray.use_reference(store, NAME, None)
    assert problem() is None


def test_a_phone_puts_photos_in_order_and_says_which_show_the_same_parts(site, tmp_path):
    store, code = open_tray(tmp_path)
    a, b, c = (tray.add_photo(store, NAME, f"{n}.jpg", n.encode()).sha256 for n in "abc")
    assert call(site, "POST", f"/take/{code}/order", body=json.dumps([c, "f" * 64, a, b]).encode())[0] == 200
    assert [photo.name for photo in tray.read_tray(store, NAME).photos] == ["c.jpg", "a.jpg", "b.jpg"]
    assert call(site, "POST", f"/take/{code}/beside/{b}?what=turned")[0] == 200
    told = json.loads(call(site, "GET", f"/take/{code}/state")[2])
    assert [photo["beside"] for photo in told["photos"]] == [None, "own", "turned"]
    for path, body in (("order", b"{"), ("order", b"7"), (f"beside/{b}?what=nothing", b"")):
        assert call(site, "POST", f"/take/{code}/{path}", body=body)[0] == 400
    for path in ("order", f"beside/{b}?what=same"):
        assert call(site, "POST", f"/take/guessed/{path}", body=b"[]")[0] == 410
    assert [one.parts for one in tray.read_tray(store, NAME).shows] == [0, 1, 1]
    assert call(site, "POST", f"/take/{code}/beside/{a}?what=relit")[0] == 200
    told = json.loads(call(site, "GET", f"/take/{code}/state")[2])
    assert [photo["beside"] for photo in told["photos"]] == [None, "relit", "turned"]


def test_a_kept_photo_is_a_jpeg_at_its_address_and_anything_else_is_not_there(site, tmp_path):
    store, _ = open_tray(tmp_path)
    kept = tray.add_photo(store, NAME, "a.jpg", PHOTO).sha256
    here = {"client": HERE, "host": "localhost:8501"}
    for kind, width in (("photo", 1600), ("marked", 2000), ("small", 640)):
        status, headers, body = call(site, "GET", f"/picture/own/{kind}/{kept}", **here)
        assert (status, headers["content-type"]) == (200, "image/jpeg")
        assert "immutable" in headers["cache-control"]
        assert Image.open(io.BytesIO(body)).width == width
    for path in (f"own/photo/{64 * '0'}", "own/photo/..%2Frecord.sqlite", f"own/raw/{kept}"):
        assert call(site, "GET", f"/picture/{path}", **here)[0] == 404
