"""The app's way in from the shop's network: shut until it is opened, for as long as somebody at the desk wants it.

The desk's own server listens on this computer alone and goes on doing so. Phones come in by a second listener that
serves the same app behind a door of its own, so that who is a stranger is settled by where a connection arrives, not by
what it says of itself.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import TYPE_CHECKING

from match.errors import MatchError, NetworkError

if TYPE_CHECKING:
    import ssl

    from starlette.types import ASGIApp

    from match.network.access import Access, Shown
    from match.network.asked import Asked
    from match.network.door import Place
    from match.network.listener import Listener

_WAIT_SECONDS = 30.0
"""Engineering choice: opening takes milliseconds, on a busy machine a second."""


@dataclass(frozen=True)
class Opened:
    """A way in that is open: the address that phones use, and whether what they send is encrypted."""

    address: str
    url: str
    encrypted: bool


class Phones:
    """The way in; its methods may be called from any thread but the server's own.

    ``refusal`` says why it could not be opened last; ``shares_with`` is what the screen that shows the code is known
    by: its unfinished work is the phones' too.
    """

    def __init__(self) -> None:
        self.refusal = ""
        self.shares_with = ""
        self._serves: tuple[ASGIApp, asyncio.AbstractEventLoop, int] | None = None
        self._access: Access | None = None
        self._listener: Listener | None = None
        self._opened: Opened | None = None
        self._opening = asyncio.Lock()

    def attach(self, app: ASGIApp, loop: asyncio.AbstractEventLoop, most_message_bytes: int) -> None:
        """Tell which app is served, and in which loop."""
        self._serves = (app, loop, most_message_bytes)

    @property
    def can_open(self) -> bool:
        """Whether the app runs in a way that lets phones in at all."""
        return self._serves is not None

    @property
    def opened(self) -> Opened | None:
        """How the way in is open, if it is."""
        return self._opened

    def shown(self) -> Shown | None:
        """Return what the desk shows while the way in is open."""
        return self._access.shown() if self._access is not None and self._opened is not None else None

    def open(self, wanted: Asked) -> None:
        """Open the way in, or open it anew; raises :class:`NetworkError` where it cannot be."""
        self._in_loop(lambda: self.open_here(wanted))

    def shut(self) -> None:
        """Shut every phone out and stop listening."""
        self._in_loop(self.shut_here)

    def renew(self) -> None:
        """Shut every phone out at once and make new codes; the way in stays open."""

        async def renew() -> None:
            if self._access is not None and self._listener is not None:
                self._access.renew()
                self._listener.sweep()

        self._in_loop(renew)

    async def open_here(self, wanted: Asked) -> None:
        """Open the way in, from within the loop; says why not in :attr:`refusal` too.

        Two screens may ask at once: the second opens it anew when the first has, or one listener would be forgotten.
        """
        async with self._opening:
            await self._open(wanted)

    async def _open(self, wanted: Asked) -> None:
        from match.calibration import load
        from match.network.access import Access, AccessLimits
        from match.network.addresses import address_for
        from match.network.door import Door
        from match.network.listener import ConnectionLimits, Listener

        await self.shut_here()
        self.refusal = ""
        try:
            address = address_for(wanted.address)
            host = wanted.name or address
            context = _tls(wanted, host)
            access = Access(load(AccessLimits, "network", "access"))
            listener = Listener(load(ConnectionLimits, "network", "connections"), access.admits)
            app, _, most_message_bytes = self._needed()
            place = _place("https" if context else "http", address, wanted.name, wanted.port)
            door = Door(app, access, place, listener.showed)
            await listener.open(door, address, wanted.port, context, most_message_bytes)
        except MatchError as error:
            self.refusal = str(error)
            raise
        url = f"{place.scheme}://{_authority(host, wanted.port, place.scheme)}"
        self._access, self._listener, self._opened = access, listener, Opened(address, url, context is not None)

    async def shut_here(self) -> None:
        """Shut the way in, from within the loop."""
        if self._listener is not None:
            self._listener.close()
        self._access = self._listener = self._opened = None

    def _needed(self) -> tuple[ASGIApp, asyncio.AbstractEventLoop, int]:
        if self._serves is None:
            raise NetworkError("this app was started in a way that lets no phone in: start it by python -m match app")
        return self._serves

    def _in_loop(self, work: Callable[[], Coroutine[None, None, None]]) -> None:
        _, loop, _ = self._needed()
        asyncio.run_coroutine_threadsafe(work(), loop).result(_WAIT_SECONDS)


PHONES = Phones()
"""The one way in of this process."""


def _tls(wanted: Asked, host: str) -> ssl.SSLContext | None:
    from match.network.certificate import named_files, tls

    files = named_files(wanted.certificate, wanted.key)
    return tls(files, host) if files else None


def _place(scheme: str, address: str, name: str, port: int) -> Place:
    """Return where the door stands: called by its own address, this computer's name, or the certificate's."""
    from match.network.door import Place

    own = socket.gethostname().lower()
    short = own.partition(".")[0]
    hosts = {address, own, short, f"{short}.local", name.lower()} - {""}
    return Place(scheme, frozenset(_authority(host, port, scheme) for host in hosts))


def _authority(host: str, port: int, scheme: str) -> str:
    """Return host and port as a browser names them, without the port that goes without saying."""
    written = f"[{host}]" if ":" in host else host
    return written if port == {"http": 80, "https": 443}[scheme] else f"{written}:{port}"
