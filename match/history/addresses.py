"""The address at which the app shows a kept record; the one place that builds it."""

from urllib.parse import quote

PLACES = {"check": "history?check=", "colour": "colour?colour=", "pot": "tint?pot="}
"""By kind of record: the page that shows it, and the name it has in the page's address."""

DESK = "http://localhost:8501"
"""Where the app answers on its own computer, unless it is told otherwise."""


def record_address(kind: str, public_id: str, desk: str = DESK) -> str:
    """Return the address of a check, colour or pot at the app that answers at ``desk``."""
    return f"{desk.rstrip('/')}/{PLACES[kind]}{quote(public_id, safe='')}"
