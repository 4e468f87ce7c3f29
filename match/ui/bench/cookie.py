"""The one thing that a browser is known by: a random number in a cookie, given with the first page and never read.

It says whose bench a visit has. It is no login: whoever may open the app at all may open its pages.
"""

import re
import uuid
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie

from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "sprayout_bench"
DAYS = 400
"""The longest that browsers keep a cookie (draft-ietf-httpbis-rfc6265bis, section 5.5); each page begins it anew."""

_ID = re.compile(r"[0-9a-f]{32}")


def is_id(given: object) -> bool:
    """Return whether this is a number that this program gave out."""
    return isinstance(given, str) and _ID.fullmatch(given) is not None


class BenchCookie:
    """ASGI middleware: gives every page the cookie, the one that the browser sent or a new one."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and add the cookie where a page comes back."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start" and _is_page(message, scope):
                given = (b"set-cookie", _cookie(_sent(scope) or uuid.uuid4().hex, scope).encode())
                message = {**message, "headers": [*message["headers"], given]}
            await send(message)

        await self.app(scope, receive, sending)


def _is_page(message: Message, scope: Scope) -> bool:
    """Return whether a page comes back, or the word that the one the browser still has is good (RFC 9110, 15.4.5)."""
    if message["status"] == 304:
        return _has(scope["headers"], b"accept", b"text/html")
    return message["status"] == 200 and _has(message.get("headers", ()), b"content-type", b"text/html")


def _has(headers: Iterable[tuple[bytes, bytes]], header: bytes, begins: bytes) -> bool:
    return any(name.lower() == header and value.startswith(begins) for name, value in headers)


def _sent(scope: Scope) -> str | None:
    for name, value in scope["headers"]:
        if name == b"cookie":
            try:
                found = SimpleCookie(value.decode("latin-1")).get(COOKIE)
            except CookieError:
                continue
            if found is not None and is_id(found.value):
                return found.value
    return None


def _cookie(bench: str, scope: Scope) -> str:
    secure = "; Secure" if scope.get("scheme") == "https" else ""
    return f"{COOKIE}={bench}; Path=/; Max-Age={DAYS * 86400}; HttpOnly; SameSite=Lax{secure}"
