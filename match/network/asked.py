"""How the way in for phones was asked for: by the command, told to the app through the environment."""

import os
from collections.abc import Mapping
from dataclasses import dataclass

OPEN, ADDRESS, NAME = "SPRAYOUT_PHONE", "SPRAYOUT_PHONE_ADDRESS", "SPRAYOUT_PHONE_NAME"
CERTIFICATE, KEY = "SPRAYOUT_PHONE_CERTIFICATE", "SPRAYOUT_PHONE_KEY"
"""Variables by which the command tells the app what was asked for."""

DEFAULT_PORT = 8502
"""One above the app's own."""


@dataclass(frozen=True)
class Asked:
    """How the way in is to be opened; an empty address is this computer's likeliest one.

    ``name`` is the host name in the QR code's address, where the certificate is for a name.
    """

    at_start: bool = False
    port: int = DEFAULT_PORT
    address: str = ""
    name: str = ""
    certificate: str = ""
    key: str = ""


def asked(environment: Mapping[str, str] = os.environ) -> Asked:
    """Return what the command asked for."""
    port = environment.get(OPEN, "")
    words = [environment.get(name, "") for name in (ADDRESS, NAME, CERTIFICATE, KEY)]
    return Asked(bool(port), int(port) if port.isdigit() else DEFAULT_PORT, *words)
