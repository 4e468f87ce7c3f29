"""The addresses that this computer has on a network, as its interfaces say; nobody is asked."""

import ipaddress
import socket
from collections.abc import Iterable

from match.errors import NetworkError


def address_for(given: str) -> str:
    """Return the address to listen at: as given, else this computer's likeliest.

    Raises :class:`NetworkError` for what is no IP address or stands for many, and where this computer is on no network.
    """
    if given:
        return _one_address(given)
    found = own_addresses()
    if not found:
        raise NetworkError("this computer is on no network of a shop: connect it to the one that the phone is on")
    return found[0]


def _one_address(address: str) -> str:
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        raise NetworkError(f"{address!r} is not an IP address: give one of this computer's own") from None
    if known.is_unspecified or known.is_multicast:
        raise NetworkError(f"{address} stands for many addresses: give one of this computer's own")
    return str(known)


def own_addresses() -> tuple[str, ...]:
    """Return the IPv4 addresses at which a phone on the same network reaches this computer, the likeliest first."""
    import psutil

    up = {name for name, state in psutil.net_if_stats().items() if state.isup}
    found = [
        (name, entry.address)
        for name, entries in psutil.net_if_addrs().items()
        if name in up
        for entry in entries
        if entry.family == socket.AF_INET
    ]
    return likeliest_first(found)


def is_own(address: str) -> bool:
    """Return whether this computer still has an IP address; networks give out others."""
    import psutil

    wanted = ipaddress.ip_address(address)
    if wanted.is_loopback:
        return True
    found = (entry.address for entries in psutil.net_if_addrs().values() for entry in entries)
    return str(wanted) in {each.partition("%")[0] for each in found}


_OF_A_NETWORK = ("wl", "wi-fi", "en", "eth")
"""Beginnings of the names that systems give to wireless and wired interfaces; other networks have other names."""


def likeliest_first(found: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """Order addresses, given with their interface's name; those of no private network are left out.

    A public address would open the app to more than the shop. Those of a network inside this computer or of a tunnel
    come late, and last those that a computer gives itself where no network gave it one (RFC 3927).
    """
    private = [(name, ipaddress.IPv4Address(address)) for name, address in found]
    private = [(name, address) for name, address in private if address.is_private and not address.is_loopback]

    def unlikely(entry: tuple[str, ipaddress.IPv4Address]) -> tuple[bool, bool]:
        name, address = entry
        return address.is_link_local, not name.lower().startswith(_OF_A_NETWORK)

    return tuple(dict.fromkeys(str(address) for _, address in sorted(private, key=unlikely)))
