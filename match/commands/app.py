"""``app``: open the pages in the browser, also from an installed wheel."""

from __future__ import annotations

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

from match.files import read_toml


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
        description="Start the app on this machine only and open it in the browser.",
    )
    parser.add_argument(
        "--port",
        type=_port,
        default=8501,
        metavar="PORT",
        help="port on this machine (default: 8501)",
    )
    parser.add_argument("--data", metavar="FOLDER_OR_URL", help="where the history is kept")
    parser.set_defaults(run=run)


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit()) or not 1024 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port: give a number from 1024 to 65535")
    return int(text)


def run(arguments: argparse.Namespace) -> int:
    """Run Streamlit until it is stopped."""
    import os

    package = Path(__file__).parents[1]
    shipped = package / "_app.py"
    script = shipped if shipped.is_file() else package.parent / "app.py"
    environment = dict(os.environ)
    if arguments.data:
        environment["SPRAYOUT_DATA"] = arguments.data
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
