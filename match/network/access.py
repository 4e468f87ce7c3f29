"""Who is let in from the network: one code for one phone, and the key that each phone shows from then on.

A phone comes in by the ticket in the QR code, which nobody can guess, or by the short code that a person types. Either
is good for one phone and is then replaced; only the short one can be guessed at all, so its wrong tries are limited.
Nothing is kept on the disk: a new start lets nobody in.
"""

import hashlib
import hmac
import ipaddress
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from match.calibration import quantity

SECRET_BYTES = 32
"""Engineering choice: 256 bits for keys; nobody meets one by chance."""

TICKET_BYTES = 16
"""Engineering choice: 128 bits, so that the QR code stays coarse enough for a bad screen."""


@dataclass(frozen=True)
class AccessLimits:
    """The table ``access`` of ``calibration/network.toml``."""

    code_digits: float = quantity("count")
    wrong_per_address: float = quantity("count")
    wrong_in_total: float = quantity("count")
    wrong_within: float = quantity("min")
    phones: float = quantity("count")
    stay: float = quantity("h")


class Refusal(StrEnum):
    """Why a phone was not let in."""

    WRONG = "wrong"
    TOO_MANY_TRIES = "too-many-tries"
    FULL = "full"


@dataclass(frozen=True)
class Shown:
    """What the desk shows: the code to type, the ticket in the QR code, and what happened at the door."""

    code: str
    ticket: str
    phones: int
    wrong_tries: int


class Access:
    """The codes that are good now and the phones that are in; safe to use from several threads.

    ``now`` gives seconds that only go up.
    """

    def __init__(self, limits: AccessLimits, now: Callable[[], float] = time.monotonic) -> None:
        self._limits, self._now = limits, now
        self._lock = threading.Lock()
        self._keys: dict[bytes, float] = {}
        self._wrong: deque[tuple[float, str]] = deque()
        self._renew()

    @property
    def stay_seconds(self) -> int:
        """How long a phone stays in."""
        return int(self._limits.stay * 3600)

    def shown(self) -> Shown:
        """Return what the desk shows now."""
        with self._lock:
            self._forget_old()
            return Shown(self._code, self._ticket, len(self._keys), len(self._wrong))

    def renew(self) -> None:
        """Shut every phone out and make new codes; what was tried before is forgotten."""
        with self._lock:
            self._keys.clear()
            self._wrong.clear()
            self._renew()

    def enter(self, address: str, code: str = "", ticket: str = "", former: str = "") -> str | Refusal:
        """Return a new key for a phone that gives the code or the ticket, or why it gets none.

        ``address`` is the IP address it comes from, ``former`` a key that it has already and that ends here.
        """
        with self._lock:
            self._forget_old()
            if not (ticket and _same(ticket, self._ticket)):
                refusal = self._typed(_digits(code), neighbourhood(address)) if code else Refusal.WRONG
                if refusal is not None:
                    return refusal
            self._keys.pop(_hash(former), None)
            if len(self._keys) >= self._limits.phones:
                return Refusal.FULL
            key = secrets.token_urlsafe(SECRET_BYTES)
            self._keys[_hash(key)] = self._now()
            self._renew()
            return key

    def admits(self, key: str) -> bool:
        """Return whether the phone that shows this key is in."""
        with self._lock:
            since = self._keys.get(_hash(key))
            return since is not None and self._now() - since < self.stay_seconds

    def _typed(self, code: str, neighbours: str) -> Refusal | None:
        """Return None for the right code; beyond the limits a right one is refused too, or guessing would go on."""
        from_there = sum(who == neighbours for _, who in self._wrong)
        if len(self._wrong) >= self._limits.wrong_in_total or from_there >= self._limits.wrong_per_address:
            return Refusal.TOO_MANY_TRIES
        if _same(code, self._code):
            return None
        self._wrong.append((self._now(), neighbours))
        return Refusal.WRONG

    def _forget_old(self) -> None:
        now = self._now()
        while self._wrong and now - self._wrong[0][0] >= self._limits.wrong_within * 60:
            self._wrong.popleft()
        self._keys = {key: since for key, since in self._keys.items() if now - since < self.stay_seconds}

    def _renew(self) -> None:
        digits = int(self._limits.code_digits)
        self._code = f"{secrets.randbelow(10**digits):0{digits}d}"
        self._ticket = secrets.token_urlsafe(TICKET_BYTES)


def neighbourhood(address: str) -> str:
    """Return what counts as one address: an IPv4 address, of IPv6 the 64 bits that a network gives out (RFC 4291).

    One computer may choose any of the other 64 bits, anew for every try. An IPv4 address written as IPv6 counts as what
    it is.
    """
    try:
        known = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return "unknown"
    if isinstance(known, ipaddress.IPv4Address):
        return str(known)
    if known.ipv4_mapped is not None:
        return str(known.ipv4_mapped)
    return str(ipaddress.IPv6Network((int(known) >> 64 << 64, 64)))


def _digits(typed: str) -> str:
    """Return a code without the spaces and strokes that people type between its groups."""
    return "".join(sign for sign in typed if sign not in " -.\u00a0")


def _same(given: str, right: str) -> bool:
    """Compare in a time that does not tell how much was right."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), right.encode())


def _hash(key: str) -> bytes:
    return hashlib.sha256(key.encode("utf-8", "replace")).digest()
