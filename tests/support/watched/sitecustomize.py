"""Loaded by Python at its start where this folder is on the path: writes down every attempt to reach another machine.

The file that ``WATCHED_LOG`` names gets one line for each name looked up and each address connected to or sent to; this
computer's own (loopback, a file's socket, all addresses to listen on) are left out. An audit hook cannot be taken away
again, and it sees attempts that fail.
"""

import ipaddress
import os
import sys

_LOOKS_OUT = {
    "socket.connect": 1,
    "socket.sendto": 1,
    "socket.sendmsg": 1,
    "socket.getaddrinfo": 0,
    "socket.gethostbyname": 0,
    "socket.gethostbyaddr": 0,
    "socket.getnameinfo": 0,
}
"""Events of PEP 578, as Python's own table of audit events lists them, and where each says whom it is about."""


def _is_own(whom):
    if isinstance(whom, tuple):
        whom = whom[0]
    if whom in (None, "", b"") or (isinstance(whom, str | bytes) and str(whom).startswith(("/", "\0"))):
        return True
    name = whom.decode() if isinstance(whom, bytes) else str(whom)
    if name == "localhost":
        return True
    try:
        address = ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        return False
    return address.is_loopback or address.is_unspecified


def _watch(event, arguments):
    if event not in _LOOKS_OUT or _is_own(arguments[_LOOKS_OUT[event]]):
        return
    with open(os.environ["WATCHED_LOG"], "a", encoding="utf-8") as log:
        log.write(f"{event} {arguments[_LOOKS_OUT[event]]!r}\n")


if os.environ.get("WATCHED_LOG"):
    sys.addaudithook(_watch)
