"""The guard in front of every route of the app: who may speak to it, and what a browser may fetch for it.

Streamlit's own check of where a websocket comes from asks an outside address for this computer's, and its pages carry
no content-security policy. So both are settled here, before a request reaches it, without any look-up. The desk is this
computer alone; a phone has come through :mod:`match.network.door` before it gets here.
"""

import asyncio
import ipaddress
import os
import socket
import sys
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from pathlib import Path
from urllib.parse import urlsplit

from starlette.middleware import Middleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from match.errors import MatchError
from match.network.door import ADMITTED, FORWARDED, POLICY_VIOLATION, seen_from
from match.network.phones import PHONES
from match.ui.bench.cookie import BenchCookie

Headers = Iterable[tuple[bytes, bytes]]

SCRIPT = Path(__file__).with_name("main.py")
"""What every visit runs."""

POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:",  # Streamlit's pages need both words
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "connect-src 'self' data: blob:",
        "worker-src 'self' blob:",
        "frame-src 'self' data: blob:",
        "frame-ancestors 'self'",
        "form-action 'self'",
        "base-uri 'self'",
        "object-src 'none'",
    )
)
"""A browser fetches from this origin only, whatever a name or a note in the history holds."""

RESPONSE_HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
)
HOSTS_VARIABLE = "SPRAYOUT_HOSTS"
"""Names, with commas between, by which a server on this computer (a reverse proxy) shows the app to others."""

FOREIGN = b"This address is not one of this app's: open it by the computer's IP address or its name.\n"
ELSEWHERE = b"This is the desk's own way in. Phones come in by the address on its page Phone.\n"
_ASKING = ("GET", "HEAD", "OPTIONS")
"""Requests that change nothing (RFC 9110, section 9.2.1); those of a foreign page may not read the answer."""


class Guard:
    """ASGI middleware: refuses whoever is neither at this computer nor let in, and foreign hosts and origins.

    It adds :data:`RESPONSE_HEADERS` to every answer.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request or websocket, or pass it on."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        is_phone = scope.get(ADMITTED) is True
        if not is_phone and not is_this_computer(scope):
            await _refuse(scope, receive, send, 403, ELSEWHERE)
        elif _is_foreign(scope, is_phone):
            await _refuse(scope, receive, send, 421, FOREIGN)
        elif scope["type"] == "http":
            await self.app(_told(scope, is_phone), receive, _with_headers(send))
        else:
            told = _told(scope, is_phone)
            await self.app({**told, "headers": _as_local(told["headers"])}, receive, send)


MIDDLEWARE = (Middleware(Guard), Middleware(BenchCookie))


@asynccontextmanager
async def lifespan(app: ASGIApp) -> AsyncIterator[None]:
    """Let the way in for phones know the app that it serves, and open it where that was asked for at the start."""
    from streamlit.runtime.runtime_util import get_max_message_size_bytes

    from match.network.asked import asked

    PHONES.attach(app, asyncio.get_running_loop(), get_max_message_size_bytes())
    wanted = asked()
    if wanted.at_start:
        try:
            await PHONES.open_here(wanted)
        except MatchError as error:
            print(f"error: no phone can come in: {error}", file=sys.stderr)
    if PHONES.opened is not None:
        print(f"Phones come in at {PHONES.opened.url} by the code on the app's page Phone.")
    try:
        yield
    finally:
        await PHONES.shut_here()


def is_this_computer(scope: Scope) -> bool:
    """Return whether a connection begins and ends on this computer, and nobody but a server named there passed it on.

    Both ends are looked at: what a header says of the client may have been believed on the way here, but nothing moves
    the end at which a connection arrived.
    """
    if any(name in FORWARDED for name, _ in scope["headers"]) and _header(scope, b"host").lower() not in named_hosts():
        return False
    return all(_is_loopback(scope.get(end)) for end in ("client", "server"))


def named_hosts() -> frozenset[str]:
    """Return the addresses of :data:`HOSTS_VARIABLE`: names, with a port where it is not the usual one."""
    return frozenset(filter(None, (name.strip().lower() for name in os.environ.get(HOSTS_VARIABLE, "").split(","))))


def _is_loopback(end: tuple[str, int | None] | None) -> bool:
    try:
        known = ipaddress.ip_address(str(end[0] if end else "").partition("%")[0])
    except ValueError:
        return False
    mapped = getattr(known, "ipv4_mapped", None)
    return (mapped or known).is_loopback


def is_own_host(host: str) -> bool:
    """Return whether a request that names this host is meant for this computer.

    An IP address, ``localhost``, the computer's own name and those of :func:`named_hosts` are. Any other name may be a
    stranger's that was made to point here, so that a page of theirs would count as ours.
    """
    name = _hostname(f"//{host}")
    if name is None:
        return False
    if host.lower() in named_hosts():
        return True
    own = socket.gethostname().lower()
    if name in ("localhost", own, f"{own}.local", f"{own.partition('.')[0]}.local"):
        return True
    try:
        ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        return False
    return True


def _is_foreign(scope: Scope, is_phone: bool) -> bool:
    """Return whether a request is meant for another host, or comes from another's page and may change something."""
    host, origin = _header(scope, b"host"), _header(scope, b"origin")
    if not is_phone and not is_own_host(host):
        return True
    return scope.get("method") not in _ASKING and not is_same_origin(origin, host)


def is_same_origin(origin: str, host: str) -> bool:
    """Return whether a websocket was opened by a page of this app; a program that is no browser names no origin."""
    return not origin or origin.lower() in (f"http://{host}".lower(), f"https://{host}".lower())


def _hostname(address: str) -> str | None:
    try:
        return urlsplit(address).hostname
    except ValueError:  # brackets that do not close
        return None


def _header(scope: Scope, name: bytes) -> str:
    return next((value.decode("latin-1") for key, value in scope["headers"] if key == name), "")


def _as_local(headers: Headers) -> list[tuple[bytes, bytes]]:
    """Return the headers with the origin, which was looked at, as one that Streamlit lets pass without a look-up."""
    return [(key, b"http://localhost" if key == b"origin" else value) for key, value in headers]


def _told(scope: Scope, is_phone: bool) -> Scope:
    """Return the scope with the header that tells the pages who visits."""
    return {**scope, "headers": seen_from(b"phone" if is_phone else b"desk", scope["headers"])}


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            kept = [each for each in message.get("headers", ()) if each[0].lower() not in dict(RESPONSE_HEADERS)]
            message = {**message, "headers": [*kept, *RESPONSE_HEADERS]}
        await send(message)

    return sending


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, why: bytes) -> None:
    if scope["type"] == "websocket":
        await receive()  # its opening
        await send({"type": "websocket.close", "code": POLICY_VIOLATION, "reason": "another origin"})
        return
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close"), *RESPONSE_HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": why})
