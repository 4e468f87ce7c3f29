"""What a stranger on the network can do with the whole app: nothing. Loopback addresses stand for the network's.

Every route is taken from the running server's own list, so that a new one cannot be forgotten. Requests are written by
hand, as no client library would send what an attacker does.
"""

import json
import os
import re
import socket
import sys
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from match.network.access import Refusal
from match.network.code_page import code_page
from match.network.door import MOST_BODY_BYTES
from tests.support.serving import served

NETWORK = "127.0.0.2"
METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "DELETE", "PATCH", "TRACE", "CONNECT")
FILLED = {"file_id": "x.jpg", "session_id": "s", "path": "index.html"}
PAGE = code_page()
UPGRADE = (
    "Connection: Upgrade",
    "Upgrade: websocket",
    "Sec-WebSocket-Version: 13",
    "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",  # the example of RFC 6455, section 1.3
)

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only there is all of 127.0.0.0/8 this computer's own")


@dataclass(frozen=True)
class App:
    desk: tuple[str, int]
    network: tuple[str, int]
    routes: list
    log: Path

    @property
    def host(self):
        return f"{self.network[0]}:{self.network[1]}"

    def shown(self):
        return json.loads(ask(self.desk, "GET", "/desk/shown")[2])

    def enter(self):
        """Come in by the QR code's ticket, and return the cookie."""
        body = f"ticket={self.shown()['ticket']}"
        status, headers, _ = ask(self.network, "POST", "/enter", body=body)
        assert status == 303
        return re.search(r"set-cookie: ([^;]+)", headers)[1]


def free_port(address):
    with socket.socket() as probe:
        probe.bind((address, 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    folder = tmp_path_factory.mktemp("guarded")
    port = free_port(NETWORK)
    own = {
        "SPRAYOUT_DATA": str(folder / "data"),
        "SPRAYOUT_CALIBRATION": str(folder / "calibration"),
        "SPRAYOUT_PHONE": str(port),
        "SPRAYOUT_PHONE_ADDRESS": NETWORK,
        "ROUTES": str(folder / "routes.json"),
        "FORWARDED_ALLOW_IPS": "*",  # the worst that an environment can ask the server to believe
    }
    script = Path(__file__).parents[1] / "support" / "guarded_app.py"
    with served(script, folder / "log.txt", {**os.environ, **own}) as desk:
        routes = json.loads((folder / "routes.json").read_text(encoding="utf-8"))
        yield App(desk, (NETWORK, port), routes, folder / "log.txt")


def send(where, *lines, body="", source=None):
    """Open a connection and send these lines as they are; return the socket."""
    link = socket.create_connection(where, timeout=60, source_address=(source, 0) if source else None)
    link.sendall("\r\n".join((*lines, "", body)).encode("latin-1"))
    return link


def answer(link):
    """Return status, head and body; the other end says how long it is."""
    with closing(link):
        got = b""
        while b"\r\n\r\n" not in got:
            piece = link.recv(65536)
            if not piece:
                return 0, "", b""
            got += piece
        head, _, body = got.partition(b"\r\n\r\n")
        text = head.decode("latin-1")
        length = int(re.search(r"content-length: (\d+)", text)[1]) if "content-length" in text else 0
        while len(body) < length and (piece := link.recv(65536)):
            body += piece
        return int(text.split()[1]), text, body


def ask(where, method, path, *headers, body="", host=None, source=None):
    lines = [f"{method} {path} HTTP/1.1", f"Host: {host or f'{where[0]}:{where[1]}'}", "Connection: close", *headers]
    if body or method in ("POST", "PUT", "PATCH"):
        lines.append(f"Content-Length: {len(body)}")
    return answer(send(where, *lines, body=body, source=source))


def is_the_page(got):
    return got[0] == 401 and got[2] in (PAGE, code_page(Refusal.WRONG), b"")


def paths_of(app):
    """Return one path for each route, with its parameters filled in, and what a stranger might make of it."""
    plain = {re.sub(r"\{(\w+)(:\w+)?\}", lambda part: FILLED.get(part[1], "x"), each["path"]) for each in app.routes}
    plain = (plain | {"/", "/blend", "/index.html", "/static/index.js", "/enter/x"}) - {""}
    tricks = {"*", "http://127.0.0.1/_stcore/health", "/%65nter/../media/x"}
    for path in plain:
        tricks |= {f"/{path}", path.upper(), f"{path}/", f"/x/..{path}", f"/%2e{path}", f"{path}?a=/enter", f"/.{path}"}
        tricks |= {path.replace("_", "%5f"), f"{path}%00", f"{path};/enter", f"/enter%2f..{path}", f"/enter/..{path}"}
        tricks |= {path.replace("/", "%2f", 2).replace("%2f", "/", 1), f"{path}#/enter", f"/enter?{path}"}
    return sorted(plain), sorted(tricks)


def test_the_server_lists_its_routes_and_those_known_are_among_them(app):
    listed = {route["path"] for route in app.routes}
    assert {"/_stcore/health", "/_stcore/stream", "/media/{file_id:path}", "/desk/shown"} <= listed
    assert any("upload_file" in path for path in listed)
    assert any("component" in path for path in listed)
    assert len(listed) >= 12


def test_no_route_by_any_method_gives_a_stranger_anything(app):
    plain, tricks = paths_of(app)
    for method in METHODS:
        for path in plain:
            got = ask(app.network, method, path, body="x" if method in ("POST", "PUT") else "")
            assert is_the_page(got), (method, path, got)
    for path in tricks:
        got = ask(app.network, "GET", path)
        assert is_the_page(got) or got[0] == 400, (path, got)
        assert got[2] in (PAGE, b"", b"Invalid HTTP request received."), path


def test_no_header_makes_a_stranger_somebody_else(app):
    for header in (
        "X-Forwarded-For: 127.0.0.1",
        "Forwarded: for=127.0.0.1;host=localhost",
        "X-Real-IP: 127.0.0.1",
        "X-Match-Seen-From: desk",
        "Cookie: match-phone=; __Host-phone=; _streamlit_xsrf=2|x",
        "Authorization: Basic eDp5",
        f"Referer: http://{app.host}/",
        "Origin: http://localhost",
        "X-HTTP-Method-Override: GET",
        "X-Original-URL: /_stcore/health",
        "Upgrade: h2c",
    ):
        assert is_the_page(ask(app.network, "GET", "/_stcore/health", header)), header
    for host in ("localhost", "127.0.0.1:8501", "paint.example", f"127.0.0.3:{app.network[1]}"):
        status, _, body = ask(app.network, "GET", "/_stcore/health", host=host)
        assert (status, body.count(b"\n")) == (421, 1)


def test_the_desks_own_way_in_is_open_to_this_computer_alone(app):
    """Also where the server was told to believe every forwarded address."""
    assert ask(app.desk, "GET", "/_stcore/health")[0] == 200
    for header in ("X-Forwarded-For: 127.0.0.1", "X-Forwarded-For: 192.0.2.9", "X-Real-IP: 127.0.0.1"):
        assert ask(app.desk, "GET", "/_stcore/health", header)[0] == 403
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((NETWORK, app.desk[1]), timeout=60)


def opens(app, *headers, path="/_stcore/stream", host=None):
    return answer(send(app.network, f"GET {path} HTTP/1.1", f"Host: {host or app.host}", *UPGRADE, *headers))[0]


def test_no_websocket_opens_without_the_key_and_none_of_another_origin_with_it(app):
    cookie, own = f"Cookie: {app.enter()}", f"Origin: http://{app.host}"
    assert opens(app, cookie, own) == 101
    forged = [
        (own,),
        (own, "Cookie: match-phone=x"),
        (own, "Sec-WebSocket-Protocol: streamlit, x, y"),
        (cookie,),
        (cookie, "Origin: http://localhost"),
        (cookie, f"Origin: http://{app.host}.paint.example"),
        (cookie, f"Origin: http://127.0.0.1:{app.desk[1]}"),
        (cookie, own, "Origin: http://localhost"),
    ]
    for headers in forged:
        for path in ("/_stcore/stream", "//_stcore/stream", "/_stcore/stream/", "/enter"):
            assert opens(app, *headers, path=path) in (400, 403), (headers, path)
    assert opens(app, cookie, "Origin: http://paint.example", host="paint.example") == 403


def test_with_the_key_every_route_answers_as_it_does_at_the_desk(app):
    cookie = f"Cookie: {app.enter()}"
    for path in ("/", "/_stcore/health", "/media/x.jpg"):
        desk, phone = ask(app.desk, "GET", path), ask(app.network, "GET", path, cookie)
        assert (desk[0], desk[2]) == (phone[0], phone[2])
        assert "content-security-policy: default-src 'self';" in phone[1]
    assert "cache-control: no-store" in phone[1]


def test_a_renewal_shuts_out_open_websockets_and_every_old_cookie_at_once(app):
    keys = [app.enter(), app.enter()]
    lines = ("GET /_stcore/stream HTTP/1.1", f"Host: {app.host}", *UPGRADE, f"Origin: http://{app.host}")
    with closing(send(app.network, *lines, f"Cookie: {keys[0]}")) as link:
        assert link.recv(100).split()[1] == b"101"
        assert app.shown()["phones"] >= 2
        spent = app.shown()["ticket"]
        assert ask(app.desk, "POST", "/desk/renew")[0] == 200
        while True:  # what was under way may still come; then the end, by a reset or without
            try:
                if not link.recv(65536):
                    break
            except ConnectionError:
                break
    for key in keys:
        assert is_the_page(ask(app.network, "GET", "/_stcore/health", f"Cookie: {key}"))
        assert opens(app, f"Cookie: {key}", f"Origin: http://{app.host}") == 403
    assert ask(app.network, "POST", "/enter", body=f"ticket={spent}")[0] == 401
    assert app.shown()["phones"] == 0


def test_a_large_upload_without_the_key_is_cut_off_unread(app):
    """Far more is sent than the system buffers: it cannot all have been taken."""
    for path in ("/_stcore/upload_file/s/f", "/enter"):
        link = send(app.network, f"PUT {path} HTTP/1.1", f"Host: {app.host}", "Content-Length: 1000000000")
        with closing(link), pytest.raises((BrokenPipeError, ConnectionResetError)):
            link.sendall(b"x" * 100_000_000)
    got = ask(app.network, "POST", "/enter", body="code=1&x=" + "y" * 4 * MOST_BODY_BYTES)
    assert is_the_page(got)


def test_guesses_from_many_addresses_stop_and_the_qr_code_goes_on_working(app):
    ask(app.desk, "POST", "/desk/renew")
    wrong = f"code={(int(app.shown()['code']) + 1) % 10**9:09d}"
    statuses = [ask(app.network, "POST", "/enter", body=wrong, source=f"127.0.{number}.9")[0] for number in range(40)]
    assert statuses == [401] * 20 + [429] * 20
    assert ask(app.network, "POST", "/enter", body=f"code={app.shown()['code']}", source="127.9.9.9")[0] == 429
    assert app.enter()
    ask(app.desk, "POST", "/desk/renew")


def test_a_guesser_who_says_to_be_forwarded_from_elsewhere_is_one_guesser_all_the_same(app):
    ask(app.desk, "POST", "/desk/renew")
    wrong = f"code={(int(app.shown()['code']) + 1) % 10**9:09d}"
    statuses = [
        ask(app.network, "POST", "/enter", f"X-Forwarded-For: 192.0.2.{each}", body=wrong, source="127.8.8.8")[0]
        for each in range(8)
    ]
    assert statuses == [401] * 5 + [429] * 3
    ask(app.desk, "POST", "/desk/renew")


def test_whoever_opens_connections_and_says_nothing_keeps_neither_desk_nor_phone_out(app):
    cookie = f"Cookie: {app.enter()}"
    idle = [socket.create_connection(app.network, timeout=60, source_address=("127.0.5.5", 0)) for _ in range(40)]
    slow = [send(app.network, "POST /enter HTTP/1.1", "Host: ", source="127.0.5.6") for _ in range(20)]
    try:
        assert ask(app.network, "GET", "/_stcore/health", cookie)[0] == 200
        assert ask(app.desk, "GET", "/_stcore/health")[0] == 200
    finally:
        for link in (*idle, *slow):
            link.close()


def test_nothing_of_a_strangers_is_written_down(app):
    before = app.log.read_text(encoding="utf-8")
    answer(send(app.network, "\x00\x01 garbage"))
    answer(send(app.network, "GET / HTTP/1.1", "Host: a", "Host: b"))
    ask(app.network, "GET", "/secret-in-a-path")
    assert app.log.read_text(encoding="utf-8") == before
