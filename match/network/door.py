"""The door in front of the whole app for whoever comes from the network: behind it nothing is asked without a key.

ASGI, so that it stands before every route there is or will be, and before websockets. A stranger gets the same page
whatever was asked for, by whatever method; nothing of the request is read but its first lines and, where a code is
handed over, some hundred bytes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from match.network.access import Access, Refusal
from match.network.code_page import CODE, ENTER, POLICY, TICKET, TO, code_page

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

Headers = Iterable[tuple[bytes, bytes]]
Peer = tuple[str, int]

ADMITTED = "match.admitted"
"""The entry of a scope that says that this door let it in; no request can bring one along."""

SEEN_FROM = b"x-match-seen-from"
"""The header that tells the pages where a visit comes from; what a client sends under its name is taken away."""

FORWARDED = (b"forwarded", b"x-forwarded-for", b"x-forwarded-host", b"x-forwarded-proto", b"x-real-ip")
"""Headers by which a client says that it is somebody else; nobody stands between this door and the network."""

MOST_BODY_BYTES = 1024
"""Engineering choice: a code and a ticket take some 60, the address to go on to at most 540."""

_PAGE = re.compile(r"/[\w/-]{0,60}(\?[\w=&%.-]{0,120})?", re.ASCII)
"""A path of this server and its question, in the signs that the app's own addresses are made of."""

MOST_KEYS = 4
"""Engineering choice: cookies of one name that are looked at; another server on this computer may have set one."""

POLICY_VIOLATION = 1008
"""RFC 6455, section 7.4.1: the code of a websocket that is closed for what it is."""

UNSEEN_HOST = b"This address is not the one on the desk's screen.\n"
_STATUS = {None: 401, Refusal.WRONG: 401, Refusal.TOO_MANY_TRIES: 429, Refusal.FULL: 503}


@dataclass(frozen=True)
class Place:
    """Where the door stands: ``http`` or ``https``, and the hosts with their ports by which it may be called."""

    scheme: str
    hosts: frozenset[str]

    @property
    def cookie(self) -> str:
        """The name of the key's cookie; browsers hold one of the first name to this host and to TLS (RFC 6265bis)."""
        return "__Host-phone" if self.scheme == "https" else "match-phone"


class Door:
    """ASGI middleware: passes on what shows a key that is in, and answers everything else itself.

    ``showed`` is told of the connection and the key of every request that is passed on.
    """

    def __init__(self, app: ASGIApp, access: Access, place: Place, showed: Callable[[Peer | None, str], None]) -> None:
        self._app, self._access, self._place, self._showed = app, access, place, showed

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request or websocket, or pass it on."""
        if scope["type"] == "http":
            await self._http(scope, receive, send)
        elif scope["type"] == "websocket":
            await self._websocket(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        key = self._key(scope)
        if _one(scope, b"host") not in self._place.hosts:
            await _answer(send, 421, UNSEEN_HOST, [(b"content-type", b"text/plain; charset=utf-8")])
        elif scope["path"] == ENTER:
            await self._enter(scope, receive, send, key)
        elif key:
            await self._pass_on(scope, receive, _unkept(send), key)
        else:
            await _ask(send)

    async def _websocket(self, scope: Scope, receive: Receive, send: Send) -> None:
        key, host = self._key(scope), _one(scope, b"host")
        origin = f"{self._place.scheme}://{host}"
        if host in self._place.hosts and _one(scope, b"origin") == origin and key:
            await self._pass_on(scope, receive, send, key)
            return
        await receive()  # its opening
        await send({"type": "websocket.close", "code": POLICY_VIOLATION})

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send, key: str) -> None:
        self._showed(scope.get("client"), key)
        headers = seen_from(b"phone", [pair for pair in scope["headers"] if pair[0] not in FORWARDED])
        await self._app({**scope, "headers": headers, ADMITTED: True}, receive, send)

    async def _enter(self, scope: Scope, receive: Receive, send: Send, former: str) -> None:
        """Show the page, or exchange the code that it sends for a key and go on to a clean address."""
        origin = _one(scope, b"origin")
        if scope["method"] != "POST" or origin not in ("", f"{self._place.scheme}://{_one(scope, b'host')}"):
            await _ask(send)
            return
        fields = await _fields(receive)
        address = str((scope.get("client") or ("",))[0])
        entered = self._access.enter(address, fields.get(CODE, ""), fields.get(TICKET, ""), former)
        if isinstance(entered, Refusal):
            await _ask(send, entered)
            return
        secure = "; Secure" if self._place.scheme == "https" else ""
        cookie = (
            f"{self._place.cookie}={entered}; Path=/; Max-Age={self._access.stay_seconds}; HttpOnly; SameSite=Strict"
        )
        on_to = clean_address(fields.get(TO, "")).encode()
        await _answer(send, 303, b"", [(b"location", on_to), (b"set-cookie", (cookie + secure).encode())])

    def _key(self, scope: Scope) -> str:
        """Return the key that a request shows, if that is in; empty otherwise."""
        pairs = (
            part.strip().partition("=")
            for name, value in scope["headers"]
            if name == b"cookie"
            for part in value.decode("latin-1").split(";")
        )
        shown = [value for name, _, value in pairs if name == self._place.cookie][:MOST_KEYS]
        return next((key for key in shown if self._access.admits(key)), "")


def clean_address(asked: str) -> str:
    """Return the page of this app that was asked for, such as a record's on a label; its first page for all else."""
    return asked if _PAGE.fullmatch(asked) and "//" not in asked and asked != ENTER else "/"


def seen_from(where: bytes, headers: Headers) -> list[tuple[bytes, bytes]]:
    """Return headers that tell the pages where a visit comes from, ``desk`` or ``phone``."""
    return [*(pair for pair in headers if pair[0] != SEEN_FROM), (SEEN_FROM, where)]


def _one(scope: Scope, name: bytes) -> str:
    """Return a header in lower case; empty where there is none, or more than one."""
    found = [value for key, value in scope["headers"] if key == name]
    return found[0].decode("latin-1").lower() if len(found) == 1 else ""


async def _fields(receive: Receive) -> dict[str, str]:
    """Return the fields of a small form; none for a body that no page of ours sends."""
    body = b""
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return {}
        body += message.get("body", b"")
        if len(body) > MOST_BODY_BYTES:
            return {}
        if not message.get("more_body", False):
            break
    try:
        parsed = parse_qs(body.decode("ascii"), max_num_fields=4)
    except ValueError:
        return {}
    return {name: values[0] for name, values in parsed.items()}


def _unkept(send: Send) -> Send:
    """Let no browser keep what it was shown, but for the app's own scripts, which tell nothing of the shop."""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = list(message.get("headers", ()))
            if not any(name.lower() == b"cache-control" and b"immutable" in value for name, value in headers):
                headers = [pair for pair in headers if pair[0].lower() != b"cache-control"]
                headers.append((b"cache-control", b"no-store"))
            message = {**message, "headers": headers}
        await send(message)

    return sending


async def _ask(send: Send, refusal: Refusal | None = None) -> None:
    headers = [(b"content-type", b"text/html; charset=utf-8"), (b"content-security-policy", POLICY.encode())]
    await _answer(send, _STATUS[refusal], code_page(refusal), headers)


async def _answer(send: Send, status: int, body: bytes, headers: Headers) -> None:
    """Answer and close: whoever is not in keeps no connection, and what is left of a body is not read."""
    general = [
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        (b"referrer-policy", b"same-origin"),  # under no-referrer a form would name no origin
        (b"x-content-type-options", b"nosniff"),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": [*headers, *general]})
    await send({"type": "http.response.body", "body": body})
