"""``app --phone``: what is asked for reaches the app, and what cannot be is refused before anything starts."""

import pytest

from match.cli import main
from match.commands import app
from match.network.asked import DEFAULT_PORT, Asked, asked


class Started:
    """Stands for the server's process; it stops at once."""

    def __init__(self, command, env):
        self.command, self.env = command, env

    def wait(self):
        return 0

    def poll(self):
        return 0

    def terminate(self):
        pass


@pytest.fixture
def started(monkeypatch):
    begun = []

    def start(command, env):
        begun.append(Started(command, env))
        return begun[-1]

    monkeypatch.setattr(app.subprocess, "Popen", start)
    return begun


def test_without_phone_nothing_is_asked_for(started):
    assert main(["app"]) == 0
    assert asked(started[0].env) == Asked()


def test_what_is_asked_for_reaches_the_app_and_the_desk_stays_on_this_computer(started):
    assert main(["app", "--phone", "--phone-address", "127.0.0.2", "--phone-name", "desk.invalid"]) == 0
    assert asked(started[0].env) == Asked(True, DEFAULT_PORT, "127.0.0.2", "desk.invalid")
    assert "--server.address=127.0.0.1" in started[0].command
    assert main(["app", "--phone", "9000", "--phone-address", "127.0.0.2"]) == 0
    assert asked(started[1].env).port == 9000


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--phone", "80"], "is not a port"),
        (["--phone", "8501"], "port 8501 is the app's own"),
        (["--phone", "--phone-address", "0.0.0.0"], "stands for many addresses"),
        (["--phone", "--phone-address", "desk"], "is not an IP address"),
        (["--phone", "--phone-address", "127.0.0.2", "--certificate", "a.pem"], "give --key too"),
        (["--phone", "--phone-address", "127.0.0.2", "--certificate", "a", "--key", "b"], "check --key"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence_and_nothing_starts(started, capsys, arguments, says):
    assert main(["app", *arguments]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert said.count("\n") == 1
    assert started == []
