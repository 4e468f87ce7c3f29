"""No command reaches out to another machine, and no module does so when it is imported."""

import subprocess
import sys

import pytest

from tests.support.watching import environment

EVERY_COMMAND = """
import importlib, pathlib, pkgutil, sys
import match
for module in pkgutil.walk_packages(match.__path__, "match."):
    if module.name not in ("match.__main__", "match.ui.main", "match._app") and ".versions." not in module.name \
            and not module.name.endswith("migrations.env"):
        importlib.import_module(module.name)
from match.cli import main

def run(*arguments):
    print("$", *arguments, flush=True)
    assert main(list(arguments)) in (0, 1), arguments

run("demo", "photos")
photo = str(sorted(pathlib.Path("photos").glob("*.jpg"))[0])
run("check", photo, "--save", "--json")
run("blend", "--labs", "50,0,0", "50,0,2", "--side", "left:400", "--job-sheet", "job.pdf")
run("sheet", "sheet.pdf")
run("tint", "toners")
run("camera", "show")
run("history", "list")
run("history", "verify")
run("history", "export", "all.zip")
run("history", "backup", "backup.zip")
run("history", "import", "all.zip")
run("history", "csv", "checks.csv")
run("history", "where")
run("history", "restore", "backup.zip", "--data", "again")
"""


def test_no_command_and_no_import_looks_up_or_connects_to_anything(tmp_path):
    log = tmp_path / "attempts.log"
    own = {"SPRAYOUT_DATA": str(tmp_path / "data"), "SPRAYOUT_CALIBRATION": str(tmp_path / "own")}
    ran = subprocess.run(
        [sys.executable, "-c", EVERY_COMMAND],
        cwd=tmp_path,
        env=environment(log, **own),
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout[-2000:] + ran.stderr[-4000:]
    assert log.read_text(encoding="utf-8") == ""


@pytest.mark.parametrize(
    "attempt",
    [
        "socket.getaddrinfo('name.invalid', 80)",
        "socket.gethostbyname('name.invalid')",
        "socket.socket(socket.AF_INET, socket.SOCK_DGRAM).connect(('192.0.2.1', 9))",
        "socket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b'', ('192.0.2.1', 9))",
    ],
)
def test_the_watch_sees_every_kind_of_attempt(tmp_path, attempt):
    """RFC 2606 keeps names under ``invalid``, RFC 5737 the addresses 192.0.2.x, from ever belonging to anybody."""
    log = tmp_path / "attempts.log"
    subprocess.run(
        [sys.executable, "-c", f"import socket; {attempt}"], env=environment(log), capture_output=True, check=False
    )
    assert log.read_text(encoding="utf-8").count("\n") == 1
