"""The answer of the blend page: the verdict in this room, what the eye asks for, and what to do on each side."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import streamlit as st

from match.blend.checked import Warned
from match.blend.drawing import chart_svg, coats_svg
from match.blend.need import Range
from match.blend.options import Way
from match.blend.panel_svg import plan_svg
from match.blend.planned_job import PlannedJob
from match.blend.profile import panel_profile
from match.blend.room_answer import RoomAnswer
from match.blend.side_plan import EVEN_ODDS, SidePlan
from match.blend.sides import Direction, Length
from match.blend.viewing import ColourPair
from match.blend.words import (
    advice,
    clear_end,
    clear_risk,
    colour_ends,
    difference,
    distance,
    kept,
    length,
    length_ends,
    need_lines,
    sides_named,
    sureness,
)
from match.check.verdict import Verdict
from match.colorimetry import Array
from match.measure.words import in_hundred
from match.ui import measured
from match.ui.kit import say
from match.ui.kit.banner import banner, in_view
from match.ui.kit.layout import PICTURE_WIDTH_PX
from match.ui.kit.notices import bullets, folded, notices, sentence, table
from match.ui.kit.style import text
from match.words import capital

NO_FADE = "No fade"
REACH_PX = 420


def show_verdict(found: RoomAnswer, warnings: Sequence[Warned]) -> None:
    """Show the verdict with its reason, how surely the plan hides the difference, and what the photos warn of."""
    figures = f"<p>{text(' '.join((*found.figures, found.limits)))}</p>"
    st.html(
        banner(found.verdict, found.reason, sure=found.sure)
        + f'<p class="sm-meaning">{text(sentence(found.kept))}</p>'
        + folded("In figures", figures)
        + _strip(found)
    )
    if found.verdict is Verdict.RETAKE:
        say.notice("The plan below rests on a photo that cannot decide.", "Take it again before you spray.")
    if warnings:
        with st.expander("Keep in mind: what the photo warns of"):
            st.html(notices((each.text, each.remedy) for each in warnings))


def _strip(found: RoomAnswer) -> str:
    """Return the line that stays in view on a phone while the form is changed."""
    job = found.planned
    seen = "hides it" if job.plan.hides_probability >= EVEN_ODDS else "it shows"
    sure = f"{seen}: {sureness(job.plan.hides_probability)}"
    width = _width(job.plan.straight_mm, job.unit)
    wanted = "no fade needed" if width == NO_FADE else f"even change over {width}"
    return in_view(found.verdict, f"{wanted}, {sure}")


def show_need(found: RoomAnswer) -> None:
    """Show what the eye asks for."""
    job = found.planned
    widths = job.plan.straight_mm
    st.header("What the eye asks for", anchor=False)
    why = (*need_lines(job.plan, job.viewing, job.unit), *_by_distance(job))
    silent = f'<p class="sm-meaning">{text(job.not_described)}</p>' if job.not_described else ""
    st.html(
        f'<p class="sm-figure"><span class="number">{text(_width(widths, job.unit))}</span>'
        f'<span class="unit">{text(_spread(widths, job.unit))}</span></p>'
        + folded("Why so wide, and how sure that is", bullets("sm-need", why))
        + silent
    )


def _width(widths: Range, unit: Length) -> str:
    return NO_FADE if widths.median == 0.0 else length(widths.median, unit)


def _spread(widths: Range, unit: Length) -> str:
    if widths.low == widths.high:
        return "of even change, with the colours taken as exact"
    return f"of even change, 95 % interval {length_ends(widths, unit)}"


def _by_distance(job: PlannedJob) -> tuple[str, ...]:
    by_distance = job.plan.need.by_distance_mm
    if len(by_distance) < 2:
        return ()
    told = "; ".join(f"{length(width, job.unit)} seen from {distance(at_m, job.unit)}" for at_m, width in by_distance)
    return (f"By distance: {told}.",)


def show_reaches(found: RoomAnswer, outline_mm: Array | None) -> None:
    """Show the panel with how far each coat of colour reaches, and what is covered as one where there are several."""
    job = found.planned
    st.header("Each coat's reach", anchor=False)
    drawn = plan_svg(job.plan, job.steps, job.unit, outline_mm)
    st.image(drawn, alt="The panel, how far each coat of colour reaches, and what lies there.", width=REACH_PX)
    if job.areas:
        st.html("".join(f'<p class="sm-meaning">{text(line)}</p>' for line in job.areas))


def show_sides(found: RoomAnswer, pair: ColourPair) -> None:
    """Show where the colour goes on each side, its chart and its coats; sides planned alike stand once."""
    alike = sides_alike(found.planned.plan.sides)
    for start in range(0, len(alike), 2):
        columns = st.columns(2, gap="large")
        for column, sides in zip(columns, alike[start : start + 2], strict=False):
            with column:
                _show_side(found.planned, sides, pair)


def sides_alike(sides: Sequence[SidePlan]) -> list[list[SidePlan]]:
    """Return the sides in order, those together that differ in nothing but where they lie."""
    found: dict[tuple[object, ...], list[SidePlan]] = {}
    for side in sides:
        bare = replace(side.side, direction=Direction.LEFT, label="", repair="")
        found.setdefault((bare, side.way, side.fade.coats, side.fades_to_mm, side.clear, side.stop), []).append(side)
    return list(found.values())


def _show_side(job: PlannedJob, sides: Sequence[SidePlan], pair: ColourPair) -> None:
    side = sides[0]
    st.header(f"{capital(sides_named(sides))}: {side.way.value}", anchor=False)
    say.meaning(colour_ends(side, job.unit))
    if side.hides_probability < job.calibration.practice.fade.sureness:
        say.notice(kept(side), advice(side, job.unit))
    profile = panel_profile(side, pair, job.viewing, job.calibration.vision)
    along = chart_svg(side, profile, job.viewing.strictness, job.unit)
    gun = job.calibration.practice.guns[job.plan.gun]
    coats = coats_svg(side, gun, job.calibration.practice.fade.fan_in_sigmas, job.unit)
    reach = f"full colour to {length(side.covers_to_mm, job.unit)}, ended by {length(side.fades_to_mm, job.unit)}"
    st.image(along, alt=f"Along the panel {side.side.name}: {reach}.", width=PICTURE_WIDTH_PX)
    st.image(coats, alt=f"{len(side.fade.coats)} coats in section {side.side.name}.", width=PICTURE_WIDTH_PX)
    st.html(folded("All figures", table(("What", "Where"), side_rows(job, side))))


def side_rows(job: PlannedJob, side: SidePlan) -> list[tuple[str, str]]:
    """Return a side's figures: what it is, and where or how much, in words."""
    unit = job.unit
    risk, clear = clear_risk(side.clear), clear_end(side.clear, unit)
    rows = [
        ("Covers to", f"{length(side.covers_to_mm, unit)} from the repair"),
        ("Fades", _fades(side, unit)),
        ("Onto the next panel", f"by {length(side.onto_next_mm, unit)}" if side.onto_next_mm > 0.0 else "not used"),
        ("Clear to", sentence(f"{clear}. Risk: {risk}" if risk else clear)),
        ("Keeps within its limit", _yes_or_no(side.hides_probability)),
        ("Viewers who would object", in_hundred(side.objecting)),
        ("The most this room hides", most_hidden(side.largest_delta_e00)),
    ]
    return rows


def _yes_or_no(probability: float) -> str:
    return f"{'yes' if probability >= EVEN_ODDS else 'no'}, {sureness(probability)}"


def _fades(side: SidePlan, unit: Length) -> str:
    end = length(side.fades_to_mm, unit)
    if side.way in (Way.STOP, Way.EDGE_TO_EDGE):
        return f"not at all: full colour to the {side.stop.value if side.stop else 'end'} at {end}"
    if side.stop is not None and length(side.covers_to_mm, unit) == end:
        return f"cut off at the {side.stop.value} at {end}, where {side.left_delta_e00:.1f} of the difference is left"
    faded = f"from {length(side.covers_to_mm, unit)} to {end}"
    if side.stop is None:
        return faded
    return f"{faded}, the {side.stop.value}, where {side.left_delta_e00:.1f} of the difference is left"


def most_hidden(largest_delta_e00: float) -> str:
    """Return the largest CIEDE2000 a room hides, with what such a difference looks like."""
    if not np.isfinite(largest_delta_e00):
        return capital(difference(largest_delta_e00))
    seen = measured.calibration().meaning(largest_delta_e00)
    return f"{difference(largest_delta_e00)} CIEDE2000 in this direction ({seen})"
