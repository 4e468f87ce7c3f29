"""The checks of one colour in order: difference, interval and verdict of each, told apart by shape (SVG, no colour)."""

from collections.abc import Sequence

from match.check.verdict import Verdict
from match.history.records import CheckRow
from match.svg import GRID, INK, MUTED, PAPER, label, line, picture, scale_end, ticks

MOST_SHOWN = 12
"""Engineering choice: more would be too small to read on a phone."""

_MOST_DAYS = 7  # that fit side by side under the picture
WIDTH, HEIGHT = 420, 268
_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, 410.0, 14.0, 176.0
_WORDS = {verdict: verdict.value for verdict in Verdict}


def shown(checks: Sequence[CheckRow]) -> list[CheckRow]:
    """Return the checks that the picture draws: the last measured ones."""
    return [check for check in checks if check.delta_e00 is not None][-MOST_SHOWN:]


def chart(checks: Sequence[CheckRow]) -> str:
    """Return an SVG drawing of CIEDE2000 over the checks, oldest left; a corrected check or a retake is drawn faint."""
    drawn = shown(checks)
    end = _scale_end(drawn)
    places = [(_x(place, len(drawn)), _y(check.delta_e00 or 0.0, end)) for place, check in enumerate(drawn)]
    counted = [place for check, place in zip(drawn, places, strict=True) if check.stands]
    parts = [_axis(end), line(counted, ink=MUTED)]
    for number, (check, (x, y)) in enumerate(zip(drawn, places, strict=True), start=1):
        faint = "" if check.stands else ' opacity="0.45"'
        parts.append(
            f"<g{faint}>{_interval(check, x, end)}{mark(check.verdict, x, y)}</g>{_label(number, len(drawn), check, x)}"
        )
    return picture(WIDTH, HEIGHT, [*parts, _key()])


def chart_words(checks: Sequence[CheckRow]) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    told = []
    for number, check in enumerate(shown(checks), start=1):
        between = ""
        if check.delta_e00_interval:
            between = f", 95 % sure between {check.delta_e00_interval[0]:.1f} and {check.delta_e00_interval[1]:.1f}"
        told.append(f"{number}: {check.delta_e00:.1f}{between}, {check.verdict}")
    return "Difference of each check, oldest first. " + "; ".join(told) + "."


def mark(verdict: str, x: float, y: float) -> str:
    """Return the shape of a verdict at a place: ring, half square, drop upside down as triangle, or cross."""
    if verdict == Verdict.GO:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="{PAPER}" stroke="{INK}" stroke-width="3"/>'
    if verdict == Verdict.BLEND:
        return (
            f'<rect x="{x - 7:.1f}" y="{y - 7:.1f}" width="14" height="14" fill="{PAPER}" stroke="{INK}" '
            f'stroke-width="2.5"/><rect x="{x - 7:.1f}" y="{y - 7:.1f}" width="7" height="14" fill="{INK}"/>'
        )
    if verdict == Verdict.RETINT:
        return f'<path d="M{x:.1f} {y - 9:.1f}l9 16h-18z" fill="{INK}" stroke="{PAPER}" stroke-width="1.5"/>'
    cross = f"M{x - 6:.1f} {y - 6:.1f}l12 12m0-12l-12 12"
    return f'<path d="{cross}" stroke="{PAPER}" stroke-width="7"/><path d="{cross}" stroke="{INK}" stroke-width="3.5"/>'


def _scale_end(checks: Sequence[CheckRow]) -> float:
    highs = [check.delta_e00_interval[1] if check.delta_e00_interval else check.delta_e00 or 0.0 for check in checks]
    return scale_end(max(highs, default=1.0))


def _x(place: int, total: int) -> float:
    step = (_RIGHT - _LEFT) / max(total, 1)
    return _LEFT + step * (place + 0.5)


def _y(value: float, end: float) -> float:
    return _BOTTOM - (_BOTTOM - _TOP) * min(value, end) / end


def _axis(end: float) -> str:
    lines = [
        f'<path d="M{_LEFT} {_y(value, end):.1f}H{_RIGHT}" stroke="{GRID}"/>'
        + label(_LEFT - 6, _y(value, end) + 5, f"{value:g}", "end")
        for value in ticks(end, 6)
    ]
    frame = f'<rect x="{_LEFT}" y="{_TOP}" width="{_RIGHT - _LEFT}" height="{_BOTTOM - _TOP}"'
    return f'{frame} fill="{PAPER}"/>{"".join(lines)}{frame} fill="none" stroke="{MUTED}"/>'


def _interval(check: CheckRow, x: float, end: float) -> str:
    if check.delta_e00_interval is None:
        return ""
    low, high = (_y(value, end) for value in check.delta_e00_interval)
    return (
        f'<path d="M{x:.1f} {low:.1f}V{high:.1f}M{x - 6:.1f} {low:.1f}h12M{x - 6:.1f} {high:.1f}h12" '
        f'stroke="{INK}" stroke-width="2"/>'
    )


def _label(number: int, total: int, check: CheckRow, x: float) -> str:
    """Return the number under a check, and its day where there is room beside the neighbours' days."""
    shown_number = label(x, _BOTTOM + 18, number, "middle", 'font-weight="600"')
    if total > _MOST_DAYS and number % 2 == 0:
        return shown_number
    day = f"{check.created_at.astimezone():%d %b}".lstrip("0")
    return shown_number + label(x, _BOTTOM + 35, day, "middle", 'font-size="13"')


def _key() -> str:
    y, step = HEIGHT - 18.0, (WIDTH - 20.0) / len(_WORDS)
    return "".join(
        f'{mark(verdict, 20 + place * step, y)}<text x="{34 + place * step:.1f}" y="{y + 5}">{words}</text>'
        for place, (verdict, words) in enumerate(_WORDS.items())
    )
