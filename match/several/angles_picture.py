"""All angles at a glance: a straight upright line is the car, the card's line beside it leans or crosses it (SVG).

Rows are angles from near the glare down to the flop; across lies the lightness difference. A card's line that runs
beside the car's is a lighter or darker paint; one that crosses it is flake that lies differently. Shapes, not colours,
tell things apart.
"""

import math
from collections.abc import Sequence

from match.check.verdict import Verdict
from match.measure.words import SURE_SD
from match.several.angles import AngleResult, EffectVerdict
from match.several.photo_set import Angle
from match.several.travel import ANGLE_NOUNS
from match.svg import GRID, INK, PAPER, diamond, label, line, picture, scale_end, ticks
from match.words import capital

WIDTH = 360
_TOP, _ROW = 52, 74
_LEFT, _RIGHT = 96.0, 256.0
_CENTRE = 0.5 * (_LEFT + _RIGHT)
_CALLED = {Verdict.GO: "go", Verdict.BLEND: "blend", Verdict.RETINT: "retint", Verdict.RETAKE: "unsure"}
_EYE_DEG = {Angle.NEAR_GLARE: 30.0, Angle.FACE: 0.0, Angle.FLOP: -68.0}
"""Where the eye stands in the little drawing, degrees from straight above; the lamp stands on the left."""


def angles_picture(verdict: EffectVerdict) -> str:
    """Return an SVG drawing, 360 wide, of every angle needed or photographed."""
    taken = {result.angle: result for result in verdict.angles}
    shown = [angle for angle in Angle if angle in taken or angle in verdict.missing]
    reach = _reach(verdict.angles)
    height = _TOP + _ROW * len(shown) + 34
    rows = {angle: _TOP + _ROW * (index + 0.5) for index, angle in enumerate(shown)}
    parts = [_ground(rows, reach), _card_line([(taken[a], rows[a]) for a in shown if a in taken], reach)]
    for angle, y in rows.items():
        parts.append(_viewpoint(angle, y) + _label(angle, y))
        if angle in taken:
            parts.append(_row(taken[angle], y, reach, governs=angle is verdict.worst))
        else:
            parts.append(_empty(y))
    parts.append(_key(height - 14))
    return picture(WIDTH, height, parts)


def angles_words(verdict: EffectVerdict) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    missing = [f"{capital(ANGLE_NOUNS[angle])}: no photo." for angle in verdict.missing]
    return " ".join([*(result.sentence for result in verdict.angles), *missing])


def _reach(angles: Sequence[AngleResult]) -> float:
    """Return how many L* units lie between the car's line and the drawing's side."""
    largest = max(abs(result.delta_lab[0]) + SURE_SD * result.delta_lab_sd[0] for result in angles)
    return scale_end(1.05 * largest)


def _x(lightness: float, reach: float) -> float:
    return _CENTRE + lightness / reach * (_RIGHT - _CENTRE)


def _ground(rows: dict[Angle, float], reach: float) -> str:
    """Draw the field with its scale, and the car's straight line."""
    top, bottom = _TOP - 4, _TOP + _ROW * len(rows)
    grid = "".join(
        f"M{_x(sign * value, reach):.1f} {top}V{bottom}" for value in ticks(reach, 6)[1:] for sign in (-1, 1)
    )
    return (
        f'<rect x="{_LEFT}" y="{top}" width="{_RIGHT - _LEFT}" height="{bottom - top}" fill="{PAPER}"/>'
        f'<path d="{grid}" stroke="{GRID}" stroke-width="1"/>'
        f'<path d="M{_CENTRE} {top}V{bottom}" stroke="{INK}" stroke-width="5"/>'
        f'<path d="M{_CENTRE} {top}V{bottom}" stroke="#fff" stroke-width="2"/>'
        + label(_LEFT, top - 24, "darker")
        + label(_RIGHT, top - 24, "lighter", "end")
        + label(_CENTRE, top - 24, "car", "middle", 'font-weight="600"')
        + label(_LEFT, top - 7, f"-{reach:g} L*", look='font-size="13"')
        + label(_RIGHT, top - 7, f"+{reach:g} L*", "end", 'font-size="13"')
        + label(WIDTH - 4, top - 24, "difference", "end")
    )


def _card_line(points: Sequence[tuple[AngleResult, float]], reach: float) -> str:
    places = [(_x(result.delta_lab[0], reach), y) for result, y in points]
    return line(places, 'stroke-width="2.5" stroke-dasharray="7 4"')


def _viewpoint(angle: Angle, y: float) -> str:
    """Draw where to stand: a panel seen from its edge, a lamp on one side, an eye."""
    x, floor = 66.0, y + 14.0
    lamp, eye = math.radians(-40.0), math.radians(_EYE_DEG[angle])
    eye_x, eye_y = x + 24 * math.sin(eye), floor - 24 * math.cos(eye)
    lamp_x, lamp_y = x + 29 * math.sin(lamp), floor - 29 * math.cos(lamp)
    return (
        f'<path d="M{x - 24} {floor}h48" stroke="{INK}" stroke-width="3"/>'
        f'<path d="M{lamp_x:.1f} {lamp_y:.1f}L{x} {floor}" stroke="{INK}" stroke-dasharray="2 3"/>'
        f'<path d="M{x} {floor}L{eye_x:.1f} {eye_y:.1f}" stroke="{INK}" stroke-width="1.5"/>'
        f'<path d="M{lamp_x - 5:.1f} {lamp_y:.1f}h10m-5 -5v10" stroke="{INK}" stroke-width="2"/>'
        f'<circle cx="{eye_x:.1f}" cy="{eye_y:.1f}" r="4.5" fill="#fff" stroke="{INK}" stroke-width="2"/>'
    )


def _label(angle: Angle, y: float) -> str:
    return label(4, y - 22, capital(ANGLE_NOUNS[angle]), look='font-weight="600"')


def _row(result: AngleResult, y: float, reach: float, governs: bool) -> str:
    """Draw the card's place with its uncertainty, and the difference with its verdict at the right."""
    x = _x(result.delta_lab[0], reach)
    half = SURE_SD * result.delta_lab_sd[0] / reach * (_RIGHT - _CENTRE)
    whisker = f"M{x - half:.1f} {y - 7}v14M{x - half:.1f} {y}H{x + half:.1f}M{x + half:.1f} {y - 7}v14"
    low, high = result.interval
    called = _CALLED[result.verdict]
    frame = (
        f'<rect x="{_RIGHT + 6}" y="{y - 30:.1f}" width="{WIDTH - _RIGHT - 8}" height="60" fill="none" stroke="{INK}" '
        'stroke-width="2.5"/>'
        if governs
        else ""
    )
    right = WIDTH - 10
    return (
        f'<path d="{whisker}" fill="none" stroke="#fff" stroke-width="6"/>'
        f'<path d="{whisker}" fill="none" stroke="{INK}" stroke-width="2.5"/>'
        f"{diamond(x, y, 9)}{frame}"
        f'<g text-anchor="end"><text x="{right}" y="{y - 9:.1f}" font-size="19" font-weight="700">'
        f'{result.delta_e00:.1f}</text><text x="{right}" y="{y + 7:.1f}" font-size="13">{low:.1f} to {high:.1f}</text>'
        f'<text x="{right}" y="{y + 24:.1f}" font-weight="600">{called}</text></g>'
    )


def _empty(y: float) -> str:
    return (
        f'<rect x="{_LEFT + 8}" y="{y - 22:.1f}" width="{_RIGHT - _LEFT - 16}" height="44" fill="#fff" stroke="{INK}" '
        'stroke-width="1.5" stroke-dasharray="5 4"/>'
        f'<text x="{_CENTRE}" y="{y + 5:.1f}" text-anchor="middle">photo missing</text>'
    )


def _key(y: float) -> str:
    return (
        f'<path d="M10 {y - 14}l9 9-9 9-9-9z" fill="{INK}"/><text x="26" y="{y}">card, bar: 95 % sure</text>'
        f'<rect x="196" y="{y - 12}" width="20" height="14" fill="none" stroke="{INK}" stroke-width="2.5"/>'
        f'<text x="222" y="{y}">angle that governs</text>'
    )
