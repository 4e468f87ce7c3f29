"""Listens at one address of the shop's network, holds few connections of strangers, and can cut all of them at once.

Every connection is accepted here, before TLS and before a byte is read, so that whoever only opens connections is
counted too. The requests themselves are read by the server that runs the app anyway.
"""

from __future__ import annotations

import asyncio
import logging
import socket
import ssl
import time
from collections.abc import Callable, Coroutine
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from match.calibration import quantity
from match.errors import NetworkError
from match.network.access import neighbourhood
from match.network.door import Peer

if TYPE_CHECKING:
    from starlette.types import ASGIApp

SWEEP_SECONDS = 1.0
"""Engineering choice: how often connections are looked through; nobody stays much longer than they may."""

MOST_HEADER_BYTES = 32 * 1024
"""Engineering choice: a browser's cookies and names; the same order as other servers'."""

_LOG = logging.getLogger("match.network.requests")
"""Where malformed requests are warned of: nobody is told, or strangers could fill the disk with them."""
_LOG.setLevel(logging.ERROR)


@dataclass(frozen=True)
class ConnectionLimits:
    """The table ``connections`` of ``calibration/network.toml``."""

    strangers: float = quantity("count")
    strangers_per_address: float = quantity("count")
    stranger_wait: float = quantity("s")


@dataclass
class _Connection:
    neighbours: str
    since: float
    serving: asyncio.Task[None] | None = None
    transport: asyncio.Transport | None = None
    key: str = ""

    def cut(self) -> None:
        if self.transport is not None:
            self.transport.abort()
        elif self.serving is not None:
            self.serving.cancel()

    @property
    def is_over(self) -> bool:
        if self.transport is not None:
            return self.transport.is_closing()
        return self.serving is not None and self.serving.done()


@dataclass
class Listener:
    """One listening address; every method but :meth:`showed` is called in the loop that it was opened in.

    ``admits`` says whether a key is in.
    """

    limits: ConnectionLimits
    admits: Callable[[str], bool]
    now: Callable[[], float] = time.monotonic
    _connections: dict[Peer, _Connection] = field(default_factory=dict)
    _known: dict[str, str] = field(default_factory=dict)
    _tasks: set[asyncio.Task[None]] = field(default_factory=set)
    _socket: socket.socket | None = None

    async def open(
        self, door: ASGIApp, address: str, port: int, tls: ssl.SSLContext | None, most_message_bytes: int
    ) -> int:
        """Listen at an IP address of this computer and return the port; raises :class:`NetworkError` where it cannot.

        ``most_message_bytes`` is the size of a websocket's message above which it is closed.
        """
        self._socket = _bound(address, port)
        protocol = _protocol_maker(door, most_message_bytes)
        for work in (self._accept(self._socket, protocol, tls), self._sweep()):
            self._begin(work)
        return int(self._socket.getsockname()[1])

    def close(self) -> None:
        """Stop listening and cut every connection."""
        for task in self._tasks:
            task.cancel()
        if self._socket is not None:
            self._socket.close()
            self._socket = None
        for connection in self._connections.values():
            connection.cut()
        self._connections.clear()

    def showed(self, peer: Peer | None, key: str) -> None:
        """Note the key that a connection showed."""
        connection = self._connections.get(peer) if peer else None
        if connection is not None:
            connection.key = key
            self._known[connection.neighbours] = key

    def sweep(self) -> None:
        """Cut whoever is not in and has had their time, and whoever showed a key that lets nobody in any more."""
        self._known = {neighbours: key for neighbours, key in self._known.items() if self.admits(key)}
        for peer, connection in list(self._connections.items()):
            waited = self.now() - connection.since > self.limits.stranger_wait
            if (connection.key and not self.admits(connection.key)) or (not connection.key and waited):
                connection.cut()
            if connection.is_over:
                del self._connections[peer]

    @property
    def held(self) -> int:
        """How many connections are held now."""
        return len(self._connections)

    async def _sweep(self) -> None:
        while True:
            await asyncio.sleep(SWEEP_SECONDS)
            self.sweep()

    async def _accept(
        self, listening: socket.socket, protocol: Callable[[], asyncio.Protocol], tls: ssl.SSLContext | None
    ) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                plain, address = await loop.sock_accept(listening)
            except OSError:  # the other end is gone already, or the system has no connection left to give
                await asyncio.sleep(0.05)
                continue
            connection = _Connection(neighbourhood(str(address[0])), self.now())
            if not self._has_room_for(connection):
                plain.close()
                continue
            plain.setblocking(False)
            peer = (str(address[0]), int(address[1]))
            self._connections[peer] = connection
            connection.serving = self._begin(self._serve(connection, plain, protocol, tls))

    def _has_room_for(self, new: _Connection) -> bool:
        """Return whether one more is held; strangers take no room from an address where a phone is in."""
        strangers = [each for each in self._connections.values() if not each.key and not each.is_over]
        from_there = sum(each.neighbours == new.neighbours for each in strangers)
        has_place = len(strangers) < self.limits.strangers or new.neighbours in self._known
        return has_place and from_there < self.limits.strangers_per_address

    async def _serve(
        self,
        connection: _Connection,
        plain: socket.socket,
        protocol: Callable[[], asyncio.Protocol],
        tls: ssl.SSLContext | None,
    ) -> None:
        wait = None if tls is None else self.limits.stranger_wait
        with suppress(OSError):  # ssl.SSLError is one: whoever speaks no TLS here
            connection.transport, _ = await asyncio.get_running_loop().connect_accepted_socket(
                protocol, plain, ssl=tls, ssl_handshake_timeout=wait
            )

    def _begin(self, work: Coroutine[None, None, None]) -> asyncio.Task[None]:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task


def _bound(address: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
    try:
        with suppress(AttributeError):
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)  # type: ignore[attr-defined]
        if not hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((address, port))
        listening.listen(64)
        listening.setblocking(False)
    except OSError as error:
        listening.close()
        raise NetworkError(
            f"nothing can listen at {address}, port {port} ({error.strerror}): another program may be there "
            "already, or the address is not this computer's"
        ) from None
    return listening


def _protocol_maker(door: ASGIApp, most_message_bytes: int) -> Callable[[], asyncio.Protocol]:
    """Return what makes the reader of one connection's requests; it believes no header about who the client is."""
    import uvicorn
    from uvicorn.protocols.http.h11_impl import H11Protocol
    from uvicorn.server import ServerState

    config = uvicorn.Config(
        door,
        interface="asgi3",
        lifespan="off",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        h11_max_incomplete_event_size=MOST_HEADER_BYTES,
        ws_max_size=most_message_bytes,
    )
    config.load()
    state = ServerState()
    loop = asyncio.get_running_loop()

    def protocol() -> asyncio.Protocol:
        made = H11Protocol(config=config, server_state=state, app_state={}, _loop=loop)
        made.logger = _LOG
        return made

    return protocol
