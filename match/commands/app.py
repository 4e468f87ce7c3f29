"""``app``: open the pages in the browser, also from an installed wheel."""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path
from typing import Any

SETTINGS = (
    "--server.address=127.0.0.1",
    "--browser.gatherUsageStats=false",
    "--client.showErrorDetails=type",
    "--client.showErrorLinks=false",
)
"""Said again here because an installed wheel is started outside the folder that holds ``.streamlit``."""


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
    if not text.isdigit() or not 1024 <= int(text) <= 65535:
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
    return subprocess.call(
        [sys.executable, "-m", "streamlit", "run", str(script), f"--server.port={arguments.port}", *SETTINGS],
        env=environment,
    )
