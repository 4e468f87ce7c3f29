"""The guard in front of the app: who may speak to it, and what it tells a browser."""

import asyncio
import socket
from concurrent.futures import ThreadPoolExecutor

import pytest

from match.network.door import ADMITTED, SEEN_FROM
from match.network.phones import Phones
from match.ui import guard
from match.ui.bench import cookie

LAN = "192.0.2.7:8501"


HERE = ("127.0.0.1", 8501)


def answered(kind, headers, client=HERE, server=HERE, **more):
    """Return what the guard sends, and the scope that it passed on, if it did."""
    sent, passed = [], []

    async def app(scope, receive, send):
        passed.append(scope)
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": [(b"referrer-policy", b"unsafe-url")]})
            await send({"type": "http.response.body", "body": b"page"})

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    raw = [(key.encode(), value.encode()) for key, value in headers.items()]
    asked = guard.Guard(app)({"type": kind, "headers": raw, "client": client, "server": server, **more}, receive, send)
    with ThreadPoolExecutor(1) as other:  # in this thread a browser's loop may be running
        other.submit(asyncio.run, asked).result()
    return sent, passed


@pytest.mark.parametrize("host", ["localhost:8501", "127.0.0.1:8501", "[::1]:8501", LAN, socket.gethostname()])
def test_this_computer_is_answered_with_a_policy_that_lets_nothing_else_be_fetched(host):
    sent, passed = answered("http", {"host": host})
    assert passed
    headers = sent[0]["headers"]
    assert dict(headers)[b"content-security-policy"].startswith(b"default-src 'self';")
    assert headers.count((b"referrer-policy", b"no-referrer")) == 1
    assert len([key for key, _ in headers if key == b"referrer-policy"]) == 1
    assert b"http" not in guard.POLICY.encode()
    assert b"*" not in guard.POLICY.encode()


@pytest.mark.parametrize(
    "host", ["paint.example", "localhost.paint.example:8501", "", "[::1", "127.0.0.1.paint.example"]
)
def test_a_name_that_a_stranger_made_point_here_is_refused(host):
    sent, passed = answered("http", {"host": host})
    assert not passed
    assert sent[0]["status"] == 421
    sent, passed = answered("websocket", {"host": host, "origin": f"http://{host}"})
    assert not passed
    assert sent == [{"type": "websocket.close", "code": 1008, "reason": "another origin"}]


@pytest.mark.parametrize("origin", ["http://paint.example", "http://127.0.0.1:9", "null", "http://[::1"])
def test_a_page_of_another_origin_opens_no_websocket(origin):
    sent, passed = answered("websocket", {"host": LAN, "origin": origin})
    assert not passed
    assert sent[0]["type"] == "websocket.close"


def test_a_websocket_of_this_app_is_passed_on_as_a_local_one():
    """So that Streamlit's own check, which asks an outside address, has nothing left to ask."""
    _, passed = answered("websocket", {"host": LAN, "origin": f"http://{LAN}"})
    assert dict(passed[0]["headers"])[b"origin"] == b"http://localhost"
    assert answered("websocket", {"host": LAN})[1]


@pytest.mark.parametrize(
    ("client", "server"),
    [
        ("192.0.2.9", "192.0.2.7"),
        ("127.0.0.1", "192.0.2.7"),
        ("192.0.2.9", "127.0.0.1"),
        ("::ffff:192.0.2.9", "::ffff:192.0.2.7"),
        ("fe80::1%eth0", "fe80::2%eth0"),
        ("testclient", "127.0.0.1"),
    ],
)
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_a_connection_from_the_network_is_refused_at_the_desks_own_way_in(kind, client, server):
    """A client may be believed to be this computer by a header; the end where it arrived tells the truth."""
    sent, passed = answered(kind, {"host": "localhost:8501"}, (client, 5), (server, 8501))
    assert not passed
    assert sent[0].get("status", sent[0].get("code")) in (403, 1008)
    assert not answered(kind, {"host": "localhost:8501"}, None, None)[1]


@pytest.mark.parametrize("header", ["x-forwarded-for", "forwarded", "x-real-ip", "x-forwarded-host"])
def test_whoever_was_forwarded_is_not_at_the_desk(header):
    for claimed in ("127.0.0.1", "for=127.0.0.1", ""):
        assert not answered("http", {"host": "localhost:8501", header: claimed})[1]
        assert not answered("websocket", {"host": "localhost:8501", header: claimed})[1]


@pytest.mark.parametrize("loopback", ["127.0.0.1", "127.9.9.9", "::1", "::ffff:127.0.0.1"])
def test_pages_are_told_who_visits_and_no_client_can_say_so_itself(loopback):
    for admitted, told in (({}, b"desk"), ({ADMITTED: True}, b"phone")):
        end = (LAN, 5) if admitted else (loopback, 5)
        headers = {"host": "localhost:8501", SEEN_FROM.decode(): "desk"}
        for kind in ("http", "websocket"):
            _, passed = answered(kind, headers, end, end, **admitted)
            assert [value for name, value in passed[0]["headers"] if name == SEEN_FROM] == [told]


@pytest.mark.parametrize("word", ["yes", 1, "True", None])
def test_nothing_but_the_door_itself_lets_a_phone_in(word):
    assert not answered("http", {"host": LAN, ADMITTED: "True"}, (LAN, 5), (LAN, 5), **{ADMITTED: word})[1]


def test_a_way_in_that_cannot_be_opened_is_said_and_the_desk_goes_on(monkeypatch, capsys):
    """RFC 5737: 192.0.2.x belongs to nobody, so nothing can listen there."""
    monkeypatch.setenv("SPRAYOUT_PHONE", "8502")
    monkeypatch.setenv("SPRAYOUT_PHONE_ADDRESS", "192.0.2.77")
    monkeypatch.setattr(guard, "PHONES", Phones())

    async def began():
        async with guard.lifespan(None):
            return guard.PHONES.opened, guard.PHONES.refusal

    with ThreadPoolExecutor(1) as other:
        opened, refusal = other.submit(asyncio.run, began()).result()
    assert opened is None
    assert refusal.startswith("nothing can listen at 192.0.2.77, port 8502")
    assert capsys.readouterr().err == f"error: no phone can come in: {refusal}\n"


def page_given(sent_cookie: str = "", scheme: str = "http", kind: bytes = b"text/html; charset=utf-8") -> list[str]:
    """Return the cookies that come with a page."""
    return cookies_given(sent_cookie, scheme, {"status": 200, "headers": [(b"content-type", kind)]})


def unchanged_given(accept: bytes) -> list[str]:
    """Return the cookies that come with the word that what the browser has is still good (RFC 9110, 15.4.5)."""
    return cookies_given("", "http", {"status": 304, "headers": [(b"etag", b'"a"')]}, (b"accept", accept))


def cookies_given(sent_cookie: str, scheme: str, answer: dict, *asked_with: tuple[bytes, bytes]) -> list[str]:
    sent = []

    async def app(scope, receive, send):
        await send({"type": "http.response.start", **answer})

    async def send(message):
        sent.append(message)

    headers = [*asked_with, *([(b"cookie", sent_cookie.encode())] if sent_cookie else [])]
    asked = cookie.BenchCookie(app)({"type": "http", "scheme": scheme, "headers": headers}, None, send)
    with ThreadPoolExecutor(1) as other:
        other.submit(asyncio.run, asked).result()
    return [value.decode() for name, value in sent[0]["headers"] if name == b"set-cookie"]


def test_a_browser_gets_a_number_of_its_own_with_its_first_page_and_keeps_it():
    (first,), (second,) = page_given(), page_given()
    number = first.split(";")[0].partition("=")[2]
    assert cookie.is_id(number)
    assert number not in second
    assert "HttpOnly" in first
    assert "SameSite=Lax" in first
    assert "Secure" not in first
    (again,) = page_given(f"other=1; {cookie.COOKIE}={number}")
    assert again == first
    assert "Secure" in page_given(scheme="https")[0]


@pytest.mark.parametrize("forged", ["x", "A" * 32, "a" * 33, "../../etc/passwd", '"; Path=/'])
def test_a_number_that_was_never_given_out_is_replaced(forged):
    (given,) = page_given(f"{cookie.COOKIE}={forged}")
    assert cookie.is_id(given.split(";")[0].partition("=")[2])


def test_only_a_page_brings_the_cookie():
    assert page_given(kind=b"text/javascript") == []
    assert unchanged_given(b"*/*") == []


def test_a_browser_that_forgot_its_number_but_not_the_page_gets_another():
    (given,) = unchanged_given(b"text/html,application/xhtml+xml,application/xml;q=0.9")
    assert cookie.is_id(given.split(";")[0].partition("=")[2])


def test_the_cookie_comes_behind_the_guard():
    assert [each.cls for each in guard.MIDDLEWARE] == [guard.Guard, cookie.BenchCookie]


def test_a_page_of_another_origin_puts_nothing_here():
    sent, passed = answered("http", {"host": "localhost:8501", "origin": "http://paint.example"}, method="PUT")
    assert not passed
    assert sent[0]["status"] == 421
    assert answered("http", {"host": LAN, "origin": f"http://{LAN}"}, method="PUT")[1]
    assert answered("http", {"host": LAN}, method="PUT")[1]
    assert answered("http", {"host": LAN, "origin": "http://paint.example"}, method="GET")[1]


@pytest.mark.parametrize("forwarded", [{}, {"x-forwarded-for": "192.0.2.9", "x-forwarded-proto": "https"}])
def test_a_server_in_front_is_let_in_by_the_name_it_was_given(monkeypatch, forwarded):
    asked = {"host": "paint.example", "origin": "https://paint.example", **forwarded}
    for kind in ("http", "websocket"):
        assert not answered(kind, asked)[1]
        monkeypatch.setenv(guard.HOSTS_VARIABLE, "colours.example:8443, Paint.Example")
        assert answered(kind, asked)[1]
        assert not answered(kind, asked, ("192.0.2.9", 5), ("192.0.2.7", 8501))[1]  # not on this computer
        assert not answered(kind, {**asked, "host": "localhost:8501", "x-forwarded-for": "192.0.2.9"})[1]
        monkeypatch.delenv(guard.HOSTS_VARIABLE)


@pytest.mark.parametrize("names", ["", ",", "*", "paint.example", "http://paint.example"])
@pytest.mark.parametrize("host", ["other.example", "paint.example.other.example", "paint.example:9", "xpaint.example"])
def test_no_other_name_comes_in_with_it(monkeypatch, names, host):
    monkeypatch.setenv(guard.HOSTS_VARIABLE, names)
    assert not answered("http", {"host": host})[1]
    assert not answered("http", {"host": host, "x-forwarded-for": "127.0.0.1"})[1]
    assert not answered("websocket", {"host": "localhost:8501", "origin": f"https://{host}"})[1]
