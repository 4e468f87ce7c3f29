"""The pictures and the words around them: placed where the figures say, readable, neutral, and safe."""

import re
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from coloraide import Color

from match.check.verdict import Thresholds, Verdict
from match.ui.check import example_picture, interval_picture, shift_picture
from match.ui.kit import notices, style, swatches
from match.ui.kit.icons import verdict_icon
from match.ui.marker import marks
from tests.support.drawings import tinted

LIMITS = Thresholds(go_below=1.2, blend_below=3.0)
THEME = tomllib.loads((Path(__file__).parents[2] / ".streamlit" / "config.toml").read_text(encoding="utf-8"))["theme"]
COLOURS = {name: value for name, value in THEME.items() if isinstance(value, str) and value.startswith("#")}
SVG = "{http://www.w3.org/2000/svg}"


def diamond(svg: str, index: int = 0) -> tuple[float, float]:
    """Return the top corner of the index-th diamond in a picture."""
    found = re.findall(r'd="M([\d.-]+) ([\d.-]+)l\d', svg)
    return float(found[index][0]), float(found[index][1])


def zones(svg: str) -> dict[str, tuple[float, float]]:
    """Return the left and right edge of each named zone of the ruler."""
    root = ElementTree.fromstring(svg)
    outlined = [r for r in root.iter(f"{SVG}rect") if r.get("fill") == "none"]
    names = [t.text for t in root.iter(f"{SVG}text") if t.get("font-weight")]
    edges = [(float(r.get("x")), float(r.get("x")) + float(r.get("width"))) for r in outlined]
    return dict(zip(names, edges, strict=True))


@pytest.mark.parametrize(
    ("lab", "name"),
    [
        # coloraide 8 converts independently of this project; D65 CIELAB of three sRGB colours.
        (Color("#ff0000").convert("lab-d65").coords(), "#ff0000"),
        (Color("#3a5f8c").convert("lab-d65").coords(), "#3a5f8c"),
        (Color("#949494").convert("lab-d65").coords(), "#949494"),
    ],
)
def test_swatches_show_the_colour_that_coloraide_gives_for_the_same_cielab(lab, name):
    shown = Color(swatches.screen_colour(np.array(lab)))
    assert np.abs(np.array(shown.coords()) - np.array(Color(name).coords())).max() <= 1.5 / 255


def test_card_is_left_of_car_and_nothing_lies_between_them():
    html = swatches.swatches(np.array([50.0, 0.0, 0.0]), np.array([60.0, 0.0, 0.0]))
    assert re.search(r'class="sm-card"[^>]*></div><div class="sm-car"', html)


def test_the_surround_of_the_swatches_is_a_munsell_n5_to_n7_grey():
    # Viewing practice (ASTM D1729, from memory): a neutral surround of Munsell N5 to N7, that is L* of about 51 to 72.
    lightness, a, b = Color(style.SURROUND).convert("lab-d65").coords()
    assert 51 <= lightness <= 72
    assert abs(a) < 0.5
    assert abs(b) < 0.5
    assert f"background: {style.SURROUND}" in Path(style.__file__).with_suffix(".css").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", sorted(COLOURS))
def test_every_colour_of_the_theme_is_neutral(name):
    red, green, blue = (COLOURS[name][start : start + 2] for start in (1, 3, 5))
    assert red == green == blue


@pytest.mark.parametrize("background", ["backgroundColor", "secondaryBackgroundColor"])
def test_text_has_the_contrast_that_wcag_asks_for(background):
    # WCAG 2.2, success criterion 1.4.3 (AA): at least 4.5 to 1; computed by coloraide.
    assert Color(COLOURS["textColor"]).contrast(COLOURS[background], method="wcag21") >= 4.5


@pytest.mark.parametrize("kind", marks.CHECK_KINDS, ids=lambda kind: kind.name)
def test_a_mark_line_stands_out_from_its_halo(kind):
    # WCAG 2.2, success criterion 1.4.11 (AA): at least 3 to 1 for graphics.
    assert Color(kind.colour).contrast("#ffffff", method="wcag21") >= 3.0


@pytest.mark.parametrize(
    ("size", "zone"), [(0.0, "Go"), (0.6, "Go"), (1.3, "Blend"), (2.9, "Blend"), (3.1, "Retint"), (11.0, "Retint")]
)
def test_the_diamond_lies_in_the_zone_of_its_figure(size, zone):
    svg = interval_picture.interval_picture(size, (0.8 * size, 1.2 * size), LIMITS)
    left, right = zones(svg)[zone]
    assert left - 0.06 <= diamond(svg)[0] <= right + 0.06


def test_the_ruler_is_to_scale():
    edges = zones(interval_picture.interval_picture(1.0, (0.5, 1.5), LIMITS))
    go, blend = edges["Go"], edges["Blend"]
    assert (blend[1] - blend[0]) / (go[1] - go[0]) == pytest.approx((3.0 - 1.2) / 1.2, rel=1e-2)


@pytest.mark.parametrize("interval", [(0.0, 0.0), (0.2, 0.3), (4.0, 97.0)])
def test_the_whole_interval_is_on_the_ruler(interval):
    svg = interval_picture.interval_picture(interval[1], interval, LIMITS)
    bar = re.search(r'd="M([\d.]+) [\d.]+v18M[\d.]+ [\d.]+H([\d.]+)', svg)
    assert 0 <= float(bar[1]) <= float(bar[2]) <= interval_picture.WIDTH


def test_a_reading_outside_its_interval_is_tied_to_the_bar_which_stays_as_computed():
    svg = interval_picture.interval_picture(1.5, (0.2, 1.0), LIMITS)
    bar = re.search(r'd="M([\d.]+) [\d.]+v18M[\d.]+ [\d.]+H([\d.]+)', svg)
    tie = re.search(r'd="M([\d.]+) [\d.]+H([\d.]+)" stroke="#161616" stroke-width="2"', svg)
    assert float(tie[1]) == float(bar[2])
    assert float(tie[2]) == diamond(svg)[0]
    assert "stroke-dasharray" not in interval_picture.interval_picture(0.6, (0.2, 1.0), LIMITS)


def test_without_room_for_a_blend_the_ruler_has_no_blend_zone():
    svg = interval_picture.interval_picture(2.0, (1.0, 3.0), Thresholds(1.8, 1.8))
    assert list(zones(svg)) == ["Go", "Retint"]


@pytest.mark.parametrize(
    ("delta_lab", "right", "up"),
    [((0, 2, 0), 1, 0), ((0, -2, 0), -1, 0), ((0, 0, 2), 0, 1), ((0, 0, -2), 0, -1), ((0, 3, -3), 1, -1)],
)
def test_redder_is_right_and_yellower_is_up(delta_lab, right, up):
    svg = shift_picture.shift_picture(delta_lab, (0.1, 0.1, 0.1))
    same = shift_picture.shift_picture((0, 0, 0), (0.1, 0.1, 0.1))
    (x, y), (x0, y0) = diamond(svg), diamond(same)
    assert np.sign(x - x0) == right
    assert np.sign(y0 - y) == up


@pytest.mark.parametrize("lightness", [-3.0, 3.0])
def test_lighter_is_up(lightness):
    svg = shift_picture.shift_picture((lightness, 0, 0), (0.1, 0.1, 0.1))
    level = diamond(shift_picture.shift_picture((0, 0, 0), (0.1, 0.1, 0.1)), 1)[1]
    assert np.sign(level - diamond(svg, 1)[1]) == np.sign(lightness)


@pytest.mark.parametrize("delta_lab", [(0, 0, 0), (0.3, -0.2, 0.1), (5, 5, 5), (-40, 60, -90), (0, 390, 0)])
def test_the_shift_stays_on_the_picture_with_its_uncertainty(delta_lab):
    svg = shift_picture.shift_picture(delta_lab, (0.5, 1.0, 1.5))
    for ellipse in ElementTree.fromstring(svg).iter(f"{SVG}ellipse"):
        x, y, wide, high = (float(ellipse.get(name)) for name in ("cx", "cy", "rx", "ry"))
        assert x - wide >= 0
        assert x + wide <= shift_picture.WIDTH
        assert y - high >= 0
        assert y + high <= shift_picture.HEIGHT


def test_the_pictures_have_words_for_those_who_do_not_see_them():
    words = shift_picture.shift_words((0.5, -1.25, 2.0), (0.1, 0.2, 0.3))
    assert "0.5 lighter" in words
    assert "1.2 greener" in words
    assert "2.0 yellower" in words
    assert "1.3" in interval_picture.interval_words(1.3, (0.9, 1.8), LIMITS)


@pytest.mark.parametrize("name", ["greener", "redder", "yellower", "bluer", "lighter", "darker"])
def test_every_direction_is_named_on_the_picture(name):
    assert f">{name}<" in shift_picture.shift_picture((1, 1, 1), (0.1, 0.1, 0.1))


def test_the_drawings_are_well_formed_and_neutral():
    drawings = [
        example_picture.example_picture(),
        interval_picture.interval_picture(1.3, (0.9, 1.8), LIMITS),
        shift_picture.shift_picture((1, 2, 3), (0.1, 0.1, 0.1)),
        style.icon(),
    ]
    for drawing in drawings:
        ElementTree.fromstring(drawing)
        assert tinted(drawing) == set()


def test_the_four_verdicts_have_four_silhouettes():
    assert len({verdict_icon(verdict) for verdict in Verdict}) == 4


def test_one_remedy_for_two_faults_is_said_once():
    html = notices.notices([("glare on one", "move the lamp"), ("too dark", "more light"), ("glare", "move the lamp")])
    assert html.count("Move the lamp.") == 1
    assert html.index("Glare on one.") < html.index("Glare.") < html.index("Move the lamp.") < html.index("Too dark.")


def test_words_from_outside_cannot_become_markup():
    hostile = "<script>alert(1)</script>\"'&"
    for html in (
        notices.notices([(hostile, hostile)]),
        notices.steps([hostile]),
        notices.table((hostile,), [(hostile,)]),
    ):
        assert "<script" not in html
        assert "&lt;script&gt;" in html
