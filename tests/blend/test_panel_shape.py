"""Panels: the room around a repair by plane geometry, the outlines shipped, and plans that stay on the panel."""

import json

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from match import calibration
from match.blend.job_practice import JobPractice
from match.blend.panel import Around, Panel
from match.blend.panel_shape import ENDS, PanelFile, area_mm2, place_for, rooms_mm
from match.blend.plan import plan_blend
from match.blend.sides import Direction, End, Repair, Side, Spot
from match.blend.step import Deed
from match.blend.steps import job_steps
from match.blend.viewing import ColourPair
from match.cli import main
from match.errors import PlanError
from tests.support.viewing import CALIBRATION, looked_at

PANELS = calibration.load(PanelFile, "panels")
JOB = calibration.load(JobPractice, "practice")
VIEWING = looked_at(CALIBRATION.judging.strictness["ordinary"], 2.0)
SQUARE = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 600.0], [0.0, 600.0]])
CAR = np.array([[42.0, 5.0, -31.0]])
PAIR = ColourPair("face-on", CAR + np.array([1.3, 0.3, 0.3]), CAR)


def test_the_rooms_of_a_rectangle_are_what_is_left_of_it():
    rooms = rooms_mm(SQUARE, Spot(250.0, 100.0, 200.0, 150.0))
    assert rooms == pytest.approx(
        {Direction.LEFT: 250.0, Direction.RIGHT: 550.0, Direction.UP: 100.0, Direction.DOWN: 350.0}
    )


def test_the_room_to_a_slanted_edge_is_its_nearest_place():
    # a triangle with corners 0,0; 600,0; 0,600: from x on the line y, its slanted edge lies at 600 - y
    triangle = np.array([[0.0, 0.0], [600.0, 0.0], [0.0, 600.0]])
    rooms = rooms_mm(triangle, Spot(100.0, 50.0, 100.0, 100.0))
    assert rooms[Direction.RIGHT] == pytest.approx(600.0 - 150.0 - 200.0)
    assert rooms[Direction.DOWN] == pytest.approx(600.0 - 200.0 - 150.0)


@pytest.mark.parametrize("name", sorted(PANELS.panels))
def test_every_shipped_panel_takes_a_repair_and_has_a_known_end_on_every_side(name):
    shape = PANELS.shape(name)
    size = 0.7 * shape.width, 1.2 * shape.height
    repair = 0.1 * size[0], 0.1 * size[1]
    rooms = rooms_mm(shape.outline_mm(size), place_for(shape, size, repair))
    assert all(room >= 0.0 for room in rooms.values())
    assert rooms[Direction.LEFT] + repair[0] + rooms[Direction.RIGHT] <= size[0] + 1e-6
    assert rooms[Direction.UP] + repair[1] + rooms[Direction.DOWN] <= size[1] + 1e-6
    assert {shape.end(direction) for direction in Direction} <= set(ENDS)


@settings(max_examples=8)
@given(st.sampled_from(sorted(PANELS.panels)), st.floats(0.2, 0.8), st.floats(0.1, 0.9))
def test_what_is_painted_never_exceeds_the_panels_own_room(name, across, down):
    shape = PANELS.shape(name)
    size = shape.width, shape.height
    spot = Spot(across * (size[0] - 80.0), down * (size[1] - 60.0), 80.0, 60.0)
    try:
        repairs = Panel(name, *size, (spot,)).repairs(shape)
    except PlanError:
        return  # beside the outline
    viewing = CALIBRATION.viewing("ordinary")
    plan = plan_blend([PAIR], repairs, viewing, CALIBRATION.vision, CALIBRATION.practice)
    for side in plan.sides:
        assert side.fades_to_mm <= side.side.room_mm + 1e-6
    assert plan.painted_mm2 <= size[0] * size[1]


def test_a_repair_beside_the_panel_is_one_sentence():
    wing = PANELS.shape("wing")
    outline = wing.outline_mm((wing.width, wing.height))
    with pytest.raises(PlanError, match="does not lie on the panel"):
        rooms_mm(outline, Spot(700.0, 420.0, 60.0, 60.0))  # in the wheel arch
    with pytest.raises(PlanError, match="larger than the panel"):
        place_for(wing, (wing.width, wing.height), (2000.0, 100.0))
    with pytest.raises(PlanError, match="no panel is called"):
        PANELS.shape("keel")


def test_what_was_said_of_a_side_stands_and_the_others_come_from_the_shape():
    wing = PANELS.shape("wing")
    said = Side(Direction.RIGHT, 90.0, End.KEPT_PART)
    panel = Panel("wing", wing.width, wing.height, (Spot(150.0, 80.0, 100.0, 100.0),), (Around.said(said),))
    sides = {side.direction: side for side in panel.repairs(wing)[0].sides}
    assert sides[Direction.RIGHT] == said
    assert sides[Direction.DOWN].car_colour_beyond is False
    assert sides[Direction.LEFT].room_mm == pytest.approx(150.0)


def test_the_command_line_takes_a_panel_in_the_place_of_four_rooms(capsys):
    blend = ["blend", "--labs", "43.4,5.3,-30.8", "42,5,-31", "--repair", "100x100"]
    assert main([*blend, "--panel", "door", "--at", "400,300", "--json"]) == 0
    sides = {each["direction"]: each["room_mm"] for each in json.loads(capsys.readouterr().out)["sides"]}
    assert set(sides) == {"left", "right", "up", "down"}
    assert sides["up"] == pytest.approx(300.0)
    assert main([*blend, "--panel", "plain", "--panel-size", "20x10", "--at", "8,3", "--unit", "in", "--json"]) == 2
    capsys.readouterr()
    inches = ["--repair", "4x4", "--panel", "plain", "--panel-size", "40x20", "--at", "8,3", "--unit", "in", "--json"]
    assert main([*blend[:4], *inches]) == 0
    sides = {each["direction"]: each["room_mm"] for each in json.loads(capsys.readouterr().out)["sides"]}
    assert sides["left"] == pytest.approx(8 * 25.4)  # the inch by definition
    assert main(blend) == 2  # neither a side nor a panel
    assert "give --side or --panel" in capsys.readouterr().err


def clear_ml(panel, shape):
    plan = plan_blend([PAIR], panel.repairs(shape), VIEWING, CALIBRATION.vision, CALIBRATION.practice)
    steps = job_steps(plan, CALIBRATION.practice, JOB).steps
    return next(step for step in steps if step.deed is Deed.CLEAR_COAT).ready_ml


@pytest.mark.parametrize("name", ["door", "wing", "bonnet"])
def test_the_clear_is_counted_over_the_panels_own_outline(name):
    # the area by OpenCV's contourArea (Green's formula), and the run-off past the panel's two ends of every stroke
    shape = PANELS.panels[name]
    size = shape.width, shape.height
    panel = Panel(name, *size, (place_for(shape, size, (120.0, 90.0)),))
    area = cv2.contourArea(panel.outline_mm(shape).astype(np.float32))
    assert area_mm2(panel.outline_mm(shape)) == pytest.approx(area, rel=1e-5)
    wanted = (area + 2.0 * JOB.handling.clear_run_out * shape.height) / 1e6 * JOB.clear.dry_film
    assert clear_ml(panel, shape) == pytest.approx(wanted / JOB.clear.solids / JOB.clear.transfer, rel=1e-5)


def test_a_room_said_by_hand_counts_in_the_outlines_place():
    shape = PANELS.panels["door"]
    spot = place_for(shape, (shape.width, shape.height), (120.0, 90.0))
    panel = Panel("door", shape.width, shape.height, (spot,))
    longer = Panel("door", shape.width, shape.height, (spot,), (Around(Direction.RIGHT, 4000.0),))
    assert clear_ml(longer, shape) > 1.5 * clear_ml(panel, shape)


@pytest.mark.parametrize("size", [(1800.0, 600.0), (600.0, 1800.0)])
def test_of_places_equally_far_from_the_edge_a_repair_begins_in_the_middle(size):
    spot = place_for(PANELS.shape("plain"), size, (100.0, 80.0))
    assert (spot.left_mm + 50.0, spot.top_mm + 40.0) == pytest.approx((0.5 * size[0], 0.5 * size[1]))


def test_a_repairs_edges_are_told_outwards_from_the_panels_corner():
    # 100 in from the left and 120 wide ends at 220; 200 down and 80 high ends at 280; inwards counts below nothing
    repair = Repair(120.0, 80.0, (), 100.0, 200.0)
    edges = {direction: repair.edge_mm(direction) for direction in Direction}
    assert edges == {Direction.LEFT: -100.0, Direction.RIGHT: 220.0, Direction.UP: -200.0, Direction.DOWN: 280.0}
