"""The door: whoever shows no key gets one page whatever is asked for, and nothing behind it is asked."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import urlencode

import pytest

from match.network.access import Access, AccessLimits
from match.network.code_page import code_page
from match.network.door import ADMITTED, MOST_BODY_BYTES, SEEN_FROM, Door, Place

HOST = "192.0.2.7:8502"
LIMITS = AccessLimits(code_digits=9, wrong_per_address=5, wrong_in_total=20, wrong_within=15, phones=20, stay=12)


@pytest.fixture
def access():
    return Access(LIMITS)


def asked(access, kind="http", path="/", method="GET", body=(b"",), scheme="http", headers=(), **fields):
    """Return what the door sends, the scopes it passed on, and how many pieces of the body it read."""
    sent, passed, read = [], [], []

    async def app(scope, receive, send):
        passed.append(scope)
        if scope["type"] == "http":
            kept = [(b"cache-control", b"max-age=60")]
            await send({"type": "http.response.start", "status": 200, "headers": kept})
            await send({"type": "http.response.body", "body": b"page"})

    async def receive():
        read.append(1)
        if kind == "websocket":
            return {"type": "websocket.connect"}
        piece = body[len(read) - 1]
        return {"type": "http.request", "body": piece, "more_body": len(read) < len(body)}

    async def send(message):
        sent.append(message)

    given = {"host": HOST, **{name.replace("_", "-"): value for name, value in fields.items()}}
    raw = [(key.encode(), value.encode("latin-1")) for key, value in given.items() if value is not None]
    scope = {"type": kind, "path": path, "method": method, "headers": [*raw, *headers], "client": ("192.0.2.9", 5)}
    door = Door(app, access, Place(scheme, frozenset({HOST})), lambda peer, key: None)
    with ThreadPoolExecutor(1) as other:  # in this thread a browser's loop may be running
        other.submit(asyncio.run, door(scope, receive, send)).result()
    return sent, passed, len(read)


def cookie_of(sent):
    return dict(sent[0]["headers"])[b"set-cookie"].decode()


def entered(access, scheme="http"):
    body = f"ticket={access.shown().ticket}".encode()
    sent, passed, _ = asked(
        access, path="/enter", method="POST", body=(body,), scheme=scheme, origin=f"{scheme}://{HOST}"
    )
    assert not passed
    return sent


@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "TRACE", "BREW"])
@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/media/a.jpg", "//", "/ENTER", "/enter/", "/a/../enter"])
def test_a_stranger_gets_the_same_page_for_everything_and_no_body_is_read(access, method, path):
    sent, passed, read = asked(access, path=path, method=method, body=(b"x" * 1000,) * 5)
    assert not passed
    assert read == 0
    assert sent[0]["status"] == 401
    assert sent[1]["body"] == code_page()
    headers = dict(sent[0]["headers"])
    assert (b"connection", b"close") in sent[0]["headers"]
    assert headers[b"cache-control"] == b"no-store"
    assert b"set-cookie" not in headers
    assert headers[b"content-security-policy"].startswith(b"default-src 'none';")


@pytest.mark.parametrize("kind", ["lifespan", "http.extension", "webtransport"])
def test_what_is_neither_http_nor_a_websocket_goes_nowhere(access, kind):
    sent, passed, read = asked(access, kind=kind)
    assert (sent, passed, read) == ([], [], 0)


@pytest.mark.parametrize("host", ["paint.example:8502", "192.0.2.7", "192.0.2.8:8502", "192.0.2.7:8501", "", None])
def test_a_host_that_is_not_on_the_desks_screen_gets_nothing_though_it_shows_a_key(access, host):
    """So a name that a stranger made point here (DNS rebinding) is none of ours."""
    cookie = cookie_of(entered(access)).split(";")[0]
    sent, passed, _ = asked(access, host=host, cookie=cookie)
    assert not passed
    assert sent[0]["status"] == 421
    sent, passed, _ = asked(access, "websocket", host=host, cookie=cookie, origin=f"http://{host}")
    assert not passed
    assert sent == [{"type": "websocket.close", "code": 1008}]


def test_two_hosts_in_one_request_are_none(access):
    cookie = cookie_of(entered(access)).split(";")[0]
    assert not asked(access, cookie=cookie, headers=[(b"host", HOST.encode())])[1]


@pytest.mark.parametrize("scheme", ["http", "https"])
def test_a_code_is_exchanged_for_a_cookie_that_no_script_and_no_other_site_can_use(access, scheme):
    sent = entered(access, scheme)
    assert sent[0]["status"] == 303
    headers = dict(sent[0]["headers"])
    assert headers[b"location"] == b"/"
    assert access.shown().ticket.encode() not in b"".join(value for _, value in sent[0]["headers"])
    name, *parts = cookie_of(sent).split("; ")
    assert {"Path=/", "HttpOnly", "SameSite=Strict", "Max-Age=43200"} <= set(parts)
    assert ("Secure" in parts) == (scheme == "https")
    assert name.startswith("__Host-phone=" if scheme == "https" else "match-phone=")


@pytest.mark.parametrize(
    ("to", "goes_on_to"),
    [
        ("/history?check=0f3a-9_b", "/history?check=0f3a-9_b"),
        ("/phone", "/phone"),
        ("/", "/"),
        ("", "/"),
        ("/enter", "/"),
        ("//paint.example", "/"),
        ("/\\paint.example", "/"),
        ("/history//paint.example", "/"),
        ("http://paint.example/", "/"),
        ("/a\r\nset-cookie: x=y", "/"),
        ("/\u0431", "/"),
        ("/history?check=" + "x" * 200, "/"),
    ],
)
def test_after_the_code_comes_the_page_that_was_asked_for_and_never_one_elsewhere(access, to, goes_on_to):
    """A label's code is read by a phone that is not in yet: the record opens all the same."""
    body = urlencode({"ticket": access.shown().ticket, "to": to}).encode()
    sent, _, _ = asked(access, path="/enter", method="POST", body=(body,), origin=f"http://{HOST}")
    assert sent[0]["status"] == 303
    assert dict(sent[0]["headers"])[b"location"].decode() == goes_on_to


def test_with_the_key_everything_is_passed_on_marked_as_let_in_and_without_false_words(access):
    cookie = cookie_of(entered(access)).split(";")[0]
    forged = {"x-forwarded-for": "127.0.0.1", "x_real_ip": "127.0.0.1", SEEN_FROM.decode(): "desk"}
    sent, passed, _ = asked(access, cookie=f"a=b; {cookie}", path="/media/x", **forged)
    assert passed[0][ADMITTED] is True
    names = [name for name, _ in passed[0]["headers"]]
    assert b"x-forwarded-for" not in names
    assert b"x-real-ip" not in names
    assert [value for name, value in passed[0]["headers"] if name == SEEN_FROM] == [b"phone"]
    assert [value for name, value in sent[0]["headers"] if name == b"cache-control"] == [b"no-store"]
    assert asked(access, "websocket", cookie=cookie, origin=f"http://{HOST}")[1]


@pytest.mark.parametrize(
    "forged",
    [
        {"cookie": None},
        {"cookie": "match-phone="},
        {"cookie": "match-phone=*"},
        {"cookie": "__Host-phone=x; match-phone=\x00"},
        {"origin": None},
        {"origin": "http://192.0.2.7:8501"},
        {"origin": "https://" + HOST},
        {"origin": "null"},
        {"origin": f"http://{HOST}.paint.example"},
    ],
)
def test_a_forged_websocket_is_closed_before_it_opens(access, forged):
    cookie = cookie_of(entered(access)).split(";")[0]
    sent, passed, _ = asked(access, "websocket", **{"cookie": cookie, "origin": f"http://{HOST}", **forged})
    assert not passed
    assert sent == [{"type": "websocket.close", "code": 1008}]


def test_another_servers_cookie_of_the_same_name_neither_lets_in_nor_shuts_out(access):
    cookie = cookie_of(entered(access)).split(";")[0]
    assert asked(access, cookie=f"match-phone=tossed; {cookie}")[1]
    assert not asked(access, cookie="; ".join(["match-phone=tossed"] * 4 + [cookie]))[1]


def test_wrong_codes_are_told_so_and_at_the_limit_that_there_were_too_many(access):
    tried = [
        asked(access, path="/enter", method="POST", body=(b"code=%09d" % (int(access.shown().code) ^ 1),))[0]
        for _ in range(6)
    ]
    assert [sent[0]["status"] for sent in tried] == [401] * 5 + [429]
    assert b"does not hold" in tried[0][1]["body"]
    assert b"Too many wrong codes" in tried[5][1]["body"]


def test_a_code_handed_over_by_a_page_of_another_site_is_not_looked_at(access):
    body = f"ticket={access.shown().ticket}".encode()
    sent, _, read = asked(access, path="/enter", method="POST", body=(body,), origin="http://paint.example")
    assert sent[0]["status"] == 401
    assert read == 0


@pytest.mark.parametrize(
    "body",
    [
        (b"x" * (MOST_BODY_BYTES + 1),),
        (b"x" * 200,) * 1000,
        (b"\xff\xfe",),
        (b"&".join([b"code=1"] * 50),),
        (b"code=%FF%FE",),
        (b"",),
    ],
)
def test_of_a_large_or_senseless_body_little_is_read_and_nothing_comes_of_it(access, body):
    sent, passed, read = asked(access, path="/enter", method="POST", body=body)
    assert not passed
    assert sent[0]["status"] == 401
    assert read <= MOST_BODY_BYTES // 200 + 1


def test_the_page_asks_in_plain_words_and_fetches_nothing():
    page = code_page().decode()
    assert '<label for="code">' in page
    assert "src=" not in page
    assert "http" not in page
