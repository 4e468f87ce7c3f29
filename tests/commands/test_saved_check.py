"""Every way a saved check comes in says the same sentence of the same fault: planning, tinting, let-downs, the page."""

import json
from types import SimpleNamespace

import pytest

from match.check.saved import FORMAT, VERSION
from match.cli import main
from match.ui.tint import state
from tests.tint.checks import MIX, check

GOOD = {"format": FORMAT, "version": VERSION, **check(MIX)}
BURNT = {"code": "burnt", "text": "The card is burnt out.", "remedy": "Expose less.", "spoils": True}
FAULTS = {
    "the figures do not hold": ({**GOOD, "figures_hold": False, "warnings": [BURNT]}, "cannot be relied on"),
    "they hold in words only": ({**GOOD, "figures_hold": True, "warnings": [BURNT]}, "cannot be relied on"),
    "unknown version": ({**GOOD, "version": 99}, "is of version 99"),
    "another format": ({**GOOD, "format": "something"}, "not a saved check but 'something'"),
    "missing figure": ({key: value for key, value in GOOD.items() if key != "vehicle_lab"}, "vehicle_lab is missing"),
    "null figure": ({**GOOD, "delta_e00": None}, "delta_e00 is missing"),
    "list for a number": ({**GOOD, "delta_e00": [1.0]}, "its delta_e00 is [1.0], not a number"),
    "number for a list": ({**GOOD, "card_lab": 3.0}, "its card_lab is 3.0, not a list of 3 numbers"),
    "text for a number": ({**GOOD, "delta_lab": ["1", "2", "3"]}, "its delta_lab is '1', not a number"),
    "giant figure": ({**GOOD, "delta_e00": 1e300}, "its delta_e00 is 1e+300"),
    "not a table": ([GOOD], "not a saved check"),
    "infinite figure": (json.dumps(GOOD).replace('"delta_e00": ', '"delta_e00": 1e999, "x": '), "not finite"),
    "giant number": (json.dumps({**GOOD, "x": 0}).replace('"x": 0', '"x": ' + "9" * 5000), "more than 18 digits"),
    "deep nesting": ("[" * 100_000, "nested more than 40 deep"),
    "cut off": (json.dumps(GOOD)[:-9], "is not JSON"),
    "empty": ("", "is not JSON"),
}
COMMANDS = {
    "blend": ["blend", "--check", "card.json", "--side", "left:400"],
    "advise": ["tint", "advise", "card.json"],
    "check": ["tint", "check", "card.json", "card.json", "--added", "black=1"],
    "measure": ["tint", "measure", "card.json", "--name", "mine", "--percent", "10"],
}


def _said_by_command(capsys, arguments):
    assert main(arguments) == 2
    told = capsys.readouterr()
    assert told.out == ""
    return told.err.removeprefix("error: ").strip()


def _said_by_page(monkeypatch, content):
    uploaded = SimpleNamespace(name="card.json", getvalue=lambda: content)
    session = {state.UPLOAD: uploaded, state.POT: 100.0}
    monkeypatch.setattr(state, "st", SimpleNamespace(session_state=session))
    state.open_upload()
    fault = state.fault()
    return fault and str(fault)


@pytest.mark.parametrize("fault", FAULTS)
def test_every_reader_says_the_same_of_the_same_fault(tmp_path, monkeypatch, capsys, fault):
    document, said = FAULTS[fault]
    content = (document if isinstance(document, str) else json.dumps(document)).encode()
    (tmp_path / "card.json").write_bytes(content)
    monkeypatch.chdir(tmp_path)
    told = {name: _said_by_command(capsys, arguments) for name, arguments in COMMANDS.items()}
    told["page"] = _said_by_page(monkeypatch, content)
    assert len(set(told.values())) == 1, told
    assert said in told["page"]
    assert "\n" not in told["page"]


@pytest.mark.parametrize("head", [{}, {"format": FORMAT, "version": VERSION}])
def test_every_reader_takes_a_sound_check_of_either_version(tmp_path, monkeypatch, capsys, head):
    (tmp_path / "card.json").write_text(json.dumps({**head, **check(MIX)}))
    monkeypatch.chdir(tmp_path)
    for name in ("blend", "advise"):
        assert main(COMMANDS[name]) == 0
        assert capsys.readouterr().err == ""
    assert _said_by_page(monkeypatch, (tmp_path / "card.json").read_bytes()) is None
