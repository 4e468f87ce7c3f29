"""The guard in front of every route of the app: who may speak to it, and what a browser may fetch for it.

Streamlit's own check of where a websocket comes from asks an outside address for this computer's, and its pages carry
no content-security policy. So both are settled here, before a request reaches it, without any look-up.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterable
from pathlib import Path
from urllib.parse import urlsplit

from starlette.middleware import Middleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

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
FOREIGN = b"This address is not one of this app's: open it by the computer's IP address or its name.\n"
POLICY_VIOLATION = 1008
"""RFC 6455, section 7.4.1: the code of a websocket that is closed for what it is."""


class Guard:
    """ASGI middleware: refuses foreign hosts and origins, and adds :data:`RESPONSE_HEADERS` to every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request or websocket, or pass it on."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
        elif not is_own_host(_header(scope, b"host")):
            await _refuse(scope, receive, send)
        elif scope["type"] == "http":
            await self.app(scope, receive, _with_headers(send))
        elif is_same_origin(_header(scope, b"origin"), _header(scope, b"host")):
            await self.app({**scope, "headers": _as_local(scope["headers"])}, receive, send)
        else:
            await _refuse(scope, receive, send)


MIDDLEWARE = (Middleware(Guard),)


def is_own_host(host: str) -> bool:
    """Return whether a request that names this host is meant for this computer.

    An IP address, ``localhost`` and the computer's own name are. Any other name may be a stranger's that was made to
    point here, so that a page of theirs would count as ours.
    """
    name = _hostname(f"//{host}")
    if name is None:
        return False
    own = socket.gethostname().lower()
    if name in ("localhost", own, f"{own}.local", f"{own.partition('.')[0]}.local"):
        return True
    try:
        ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        return False
    return True


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


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            kept = [each for each in message.get("headers", ()) if each[0].lower() not in dict(RESPONSE_HEADERS)]
            message = {**message, "headers": [*kept, *RESPONSE_HEADERS]}
        await send(message)

    return sending


async def _refuse(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()  # its opening
        await send({"type": "websocket.close", "code": POLICY_VIOLATION, "reason": "another origin"})
        return
    headers = [(b"content-type", b"text/plain; charset=utf-8"), *RESPONSE_HEADERS]
    await send({"type": "http.response.start", "status": 421, "headers": headers})
    await send({"type": "http.response.body", "body": FOREIGN})
