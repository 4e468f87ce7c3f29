"""``app``: open the pages in the browser, also from an installed wheel."""

import argparse
import socket
import subprocess
import sys
import threading
import time
import webbrowser
from contextlib import suppress
from pathlib import Path
from typing import Any

from match.errors import NetworkError
from match.files import read_toml
from match.network.asked import ADDRESS, CERTIFICATE, DEFAULT_PORT, KEY, NAME, OPEN


def settings() -> list[str]:
    """Return ``.streamlit/config.toml`` as options for ``streamlit run``.

    Streamlit reads that file only from the folder it is started in, and an installed wheel is started anywhere.
    """
    package = Path(__file__).parents[1]
    shipped = package / "_streamlit.toml"
    file = shipped if shipped.is_file() else package.parent / ".streamlit" / "config.toml"
    tables = read_toml(file, "the app's settings")
    tables["server"] |= {"showEmailPrompt": False}
    return [
        f"--{table}.{key}={str(value).lower() if isinstance(value, bool) else value}"
        for table, entries in tables.items()
        for key, value in entries.items()
    ]


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "app",
        help="open the app in the browser",
        description="Start the app on this machine only and open it in the browser; with --phone a phone on the same "
        "network comes in too, by the code on the page Phone.",
    )
    parser.add_argument(
        "--port",
        type=_port,
        default=8501,
        metavar="PORT",
        help="port on this machine (default: 8501)",
    )
    parser.add_argument("--data", metavar="FOLDER_OR_URL", help="where the history is kept")
    _add_phone_to(parser)
    parser.set_defaults(run=run)


def _add_phone_to(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--phone",
        type=_port,
        nargs="?",
        const=DEFAULT_PORT,
        metavar="PORT",
        help=f"let phones on the shop's network in by a code (port {DEFAULT_PORT} if none is given)",
    )
    parser.add_argument(
        "--phone-address", metavar="ADDRESS", help="which of this machine's own addresses (default: the likeliest)"
    )
    parser.add_argument("--certificate", metavar="FILE", help="the shop's own certificate (PEM): phones use TLS")
    parser.add_argument("--key", metavar="FILE", help="the certificate's key (PEM), readable by you alone")
    parser.add_argument("--phone-name", metavar="NAME", help="the host name that the certificate is for")


def _phone_environment(arguments: argparse.Namespace) -> dict[str, str]:
    """Return what tells the app how to let phones in; what can be checked is checked before anything is started."""
    asked = {
        OPEN: "" if arguments.phone is None else str(arguments.phone),
        ADDRESS: arguments.phone_address or "",
        NAME: arguments.phone_name or "",
        CERTIFICATE: arguments.certificate or "",
        KEY: arguments.key or "",
    }
    given = {name: value for name, value in asked.items() if value}
    if not given:
        return {}
    from match.network.addresses import address_for
    from match.network.certificate import named_files, tls

    address = address_for(given.get(ADDRESS, ""))
    files = named_files(arguments.certificate, arguments.key)
    if arguments.phone is not None and arguments.phone == arguments.port:
        raise NetworkError(f"port {arguments.port} is the app's own: give --phone another one")
    if files is not None:
        tls(files, arguments.phone_name or address)
        given |= {CERTIFICATE: str(files.certificate.absolute()), KEY: str(files.key.absolute())}
    return given


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit()) or not 1024 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port: give a number from 1024 to 65535")
    return int(text)


def run(arguments: argparse.Namespace) -> int:
    """Run Streamlit until it is stopped."""
    import os

    from match.history.place import history_place

    package = Path(__file__).parents[1]
    shipped = package / "_app.py"
    script = shipped if shipped.is_file() else package.parent / "app.py"
    environment = {**os.environ, **_phone_environment(arguments)}
    if arguments.data:
        environment["SPRAYOUT_DATA"] = history_place(arguments.data) or ""
    command = [sys.executable, "-m", "streamlit", "run", str(script), f"--server.port={arguments.port}", *settings()]
    server = subprocess.Popen(command, env=environment)
    threading.Thread(target=_open_when_up, args=(server, arguments.port), daemon=True).start()
    try:
        return server.wait()
    finally:
        server.terminate()


def _open_when_up(server: subprocess.Popen[bytes], port: int) -> None:
    """Open the browser once the server answers; one that stops first opens nothing."""
    while server.poll() is None:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            webbrowser.open(f"http://localhost:{port}")
            return
        time.sleep(0.2)
