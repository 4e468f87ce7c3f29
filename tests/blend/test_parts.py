"""Parts with a colour of their own: what differs before anybody paints, and whether the new colour may meet them."""

import json

import numpy as np
import pytest

from match.blend.options import Way
from match.blend.parts import PartColour, judge_parts, part_lines
from match.blend.plan import plan_blend
from match.blend.sides import Direction, End, Repair, Side
from match.blend.viewing import ColourPair
from match.check.saved import FORMAT, VERSION
from match.cli import main
from match.colorimetry import delta_e00
from match.errors import PlanError
from tests.support.viewing import CALIBRATION, looked_at
from tests.tint.checks import MIX, check

OWNER = CALIBRATION.judging.strictness["ordinary"]
VIEWING = looked_at(OWNER, 1.0, 2.0)
CAR = np.array([[50.0, 0.0, 0.0]])
CARD = CAR + np.array([0.9, 0.0, 0.0])
PAIR = ColourPair("face-on", CARD, CAR)
WING = Repair(200.0, 150.0, (Side(Direction.LEFT, 700.0), Side(Direction.RIGHT, 500.0, End.OTHER_PART)))


def bumper(lightness, card=CARD, direction=Direction.RIGHT):
    """Return a bumper this much lighter than the car, read beside a card that its own photo shows as ``card``."""
    return PartColour(
        "bumper", direction, (ColourPair("face-on", card, card - CARD + CAR + np.array([lightness, 0, 0])),)
    )


def judged(part, repair=WING):
    return judge_parts(repair, [PAIR], [part], VIEWING.allowed, 0.95)


def test_what_differs_before_anybody_paints_is_the_cars_own_difference_and_said_first():
    repair, (found,) = judged(bumper(3.0))
    assert found.already.median == pytest.approx(float(delta_e00(CAR, CAR + np.array([3.0, 0, 0]))[0]))
    assert "already differs from the panel" in part_lines((found,))[0]
    _, (alike,) = judged(bumper(0.0))
    assert alike.already.median == pytest.approx(0.0, abs=1e-9)
    assert "already" not in " ".join(part_lines((alike,)))
    assert repair.sides[0] == WING.sides[0]


def test_the_card_joins_two_photos_of_which_one_reads_lighter():
    # both photos show the same card: a lamp that lifts the whole of the second cancels
    shifted = bumper(3.0, card=CARD + np.array([1.5, 0.4, -0.2]))
    assert judged(shifted)[1][0].already.median == pytest.approx(judged(bumper(3.0))[1][0].already.median, abs=1e-6)


def test_a_part_that_the_card_does_not_match_meets_the_colour_it_met_before():
    repair, (found,) = judged(bumper(-2.0))
    assert not found.may_meet
    side = next(each for each in _planned(repair).sides if each.side.direction is Direction.RIGHT)
    assert side.way is Way.FADE
    assert side.stop is None
    assert side.fades_to_mm <= 500.0
    assert side.largest_without_fade < found.limit
    assert "the fade ends before it" in " ".join(part_lines((found,)))


def test_a_part_that_the_card_matches_may_be_met_in_full():
    repair, (found,) = judged(bumper(0.9))
    assert found.may_meet
    assert found.card.median == pytest.approx(0.0, abs=1e-9)
    assert repair.sides[1].end_limit is None


def test_with_no_room_before_such_a_part_the_plan_does_not_hide_it():
    narrow = Repair(200.0, 150.0, (Side(Direction.LEFT, 700.0), Side(Direction.RIGHT, 60.0, End.OTHER_PART)))
    assert _planned(narrow).hides_probability == 1.0
    assert _planned(judged(bumper(-2.0), narrow)[0]).hides_probability < 0.5


@pytest.mark.parametrize(
    ("parts", "repair", "says"),
    [
        ([bumper(1.0), bumper(2.0)], WING, "same direction"),
        ([bumper(1.0, direction=Direction.UP)], WING, "no room is given"),
        (
            [bumper(1.0, direction=Direction.RIGHT)],
            Repair(200.0, 150.0, (Side(Direction.RIGHT, 90.0, End.NO_EDGE),)),
            "ends at no part",
        ),
    ],
)
def test_a_part_that_cannot_be_there_is_one_sentence(parts, repair, says):
    with pytest.raises(PlanError, match=says):
        judge_parts(repair, [PAIR], parts, VIEWING.allowed, 0.95)


def test_the_command_line_takes_a_saved_check_of_the_part(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    wing = {"format": FORMAT, "version": VERSION, **check(MIX)}
    vehicle = [wing["vehicle_lab"][0] + 6.0, *wing["vehicle_lab"][1:]]
    delta = [card - part for card, part in zip(wing["card_lab"], vehicle, strict=True)]
    size = float(delta_e00(np.array(wing["card_lab"]), np.array(vehicle)))
    other = {**wing, "vehicle_lab": vehicle, "delta_lab": delta, "delta_e00": size}
    (tmp_path / "wing.json").write_text(json.dumps(wing), encoding="utf-8")
    (tmp_path / "bumper.json").write_text(json.dumps(other), encoding="utf-8")
    blend = ["blend", "--check", "wing.json", "--side", "left:400", "--side", "right:300,other"]
    assert main([*blend, "--part", "right,bumper=bumper.json"]) == 0
    told = capsys.readouterr().out
    assert "The bumper already differs from the panel" in told
    assert main([*blend, "--part", "right,bumper=bumper.json", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["parts"][0]["name"] == "bumper"
    assert main([*blend, "--part", "bumper.json"]) == 2


@pytest.mark.parametrize(("finish", "meets"), [("solid", True), ("metallic", False)])
def test_a_part_of_an_effect_finish_seen_from_one_angle_is_not_met(tmp_path, capsys, monkeypatch, finish, meets):
    monkeypatch.chdir(tmp_path)
    wing = {"format": FORMAT, "version": VERSION, **check(MIX)}
    covariance = (1e-4 * np.eye(3)).tolist()
    alike = {"vehicle_lab": wing["card_lab"], "delta_lab": [0.0, 0.0, 0.0], "delta_e00": 0.0}
    part = {**wing, **alike, "delta_lab_covariance": covariance, "confidence": None, "finish": finish}
    (tmp_path / "wing.json").write_text(json.dumps(wing), encoding="utf-8")
    (tmp_path / "part.json").write_text(json.dumps(part), encoding="utf-8")
    blend = ["blend", "--check", "wing.json", "--side", "left:400", "--side", "right:300,other"]
    assert main([*blend, "--part", "right,bumper=part.json", "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["parts"]
    assert found["passes_probability"] > 0.95
    assert (found["is_whole"], found["may_meet"]) == (meets, meets)
    assert main([*blend, "--part", "right,bumper=part.json"]) == 0
    assert ("its own check leaves that open" in capsys.readouterr().out) == (not meets)


def _planned(repair):
    return plan_blend([PAIR], [repair], VIEWING, CALIBRATION.vision, CALIBRATION.practice)


COVARIANCE = (0.8**2 * np.eye(3)).tolist()


@pytest.mark.parametrize(("moved", "code"), [(1.0, 0), (8.0, 2)])
def test_two_checks_are_joined_by_one_card_only(tmp_path, capsys, monkeypatch, moved, code):
    # 0.8 on each axis of both: one card shows a squared distance beyond 16.3 times 1.28 once in a thousand (chi-squared
    # with three degrees of freedom, NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.4)
    monkeypatch.chdir(tmp_path)
    wing = {"format": FORMAT, "version": VERSION, **check(MIX), "card_lab_covariance": COVARIANCE}
    shift = np.array([moved, 0.0, 0.0])
    part = {**wing, **{key: (np.array(wing[key]) + shift).tolist() for key in ("card_lab", "vehicle_lab")}}
    (tmp_path / "wing.json").write_text(json.dumps(wing), encoding="utf-8")
    (tmp_path / "part.json").write_text(json.dumps(part), encoding="utf-8")
    blend = ["blend", "--check", "wing.json", "--side", "left:400", "--side", "right:300,other"]
    assert main([*blend, "--part", "right,bumper=part.json"]) == code
    told = capsys.readouterr()
    assert ("wing.json and part.json do not show the same card" in told.err) == (code == 2)
    assert "whether both show the same card" not in told.out


def test_cards_that_cannot_be_compared_are_said(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    wing = {"format": FORMAT, "version": VERSION, **check(MIX)}
    (tmp_path / "wing.json").write_text(json.dumps(wing), encoding="utf-8")
    blend = ["blend", "--check", "wing.json", "--side", "left:400", "--side", "right:300,other"]
    assert main([*blend, "--part", "right,bumper=wing.json"]) == 0
    assert "nobody can tell whether both show the same card" in capsys.readouterr().out
