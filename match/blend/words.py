"""A blend plan in plain sentences, in mm or in inches."""

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from match.blend.clear import Clear, ClearEnd
from match.blend.coat_plans import BlendPractice
from match.blend.need import Range
from match.blend.options import StopKind, Way
from match.blend.panel import Panel
from match.blend.plan import BlendPlan
from match.blend.side_plan import EVEN_ODDS, SidePlan
from match.blend.sides import MM_PER_INCH, Direction, End, Length
from match.blend.viewing import Viewing
from match.check.verdict import chance_words, limit_words
from match.measure.words import in_hundred
from match.words import capital, listed

M_PER_FOOT = 0.3048  # exact by definition
INCH_PARTS = 4
MM_STEP = 5
WHOLE_MM = 10.0
"""Shorter lengths than this are given to the mm, longer ones to 5 mm: nobody sprays finer."""
MOSTLY_LEFT = 0.5
"""Share of the difference left at a stop from which a fade cut off is told for what it is (engineering choice)."""
ENDS_SEEN = 1.0
"""Just noticeable steps between the two ends above which they are worth a warning (definition of the step)."""


def length(value_mm: float, unit: Length) -> str:
    """Return a length as a painter reads it: to 5 mm, or to a quarter inch; infinite is "no width"."""
    if not np.isfinite(value_mm):
        return "no width"
    if unit is Length.MM:
        return f"{round(value_mm) if value_mm < WHOLE_MM else MM_STEP * round(value_mm / MM_STEP)} mm"
    return f"{_mixed(Fraction(round(value_mm / MM_PER_INCH * INCH_PARTS), INCH_PARTS))} in"


def _mixed(number: Fraction) -> str:
    """Return a fraction as it is read: 2 3/4."""
    whole, rest = divmod(number, 1)
    return " ".join(str(part) for part in (whole, rest) if part) or "0"


def distance(value_m: float, unit: Length) -> str:
    """Return how far away the eye is, in metres or in feet."""
    return f"{value_m:.1f}".removesuffix(".0") + " m" if unit is Length.MM else f"{value_m / M_PER_FOOT:.1f} ft"


def length_range(widths: Range, unit: Length) -> str:
    """Return "95 mm (70 mm to 115 mm)"."""
    return f"{length(widths.median, unit)} ({length_ends(widths, unit)})"


def length_ends(widths: Range, unit: Length) -> str:
    """Return "70 mm to 115 mm"; an end that no width reaches is named as such."""
    high = f"to {length(widths.high, unit)}" if np.isfinite(widths.high) else "and more than can be sprayed"
    return f"{length(widths.low, unit)} {high}"


def sureness(probability: float) -> str:
    """Return how sure the likelier of two answers is, as a percentage that never claims certainty."""
    return f"{chance_words(max(probability, 1.0 - probability))} sure"


def keeps_within(who: str, limits: str, probability: float) -> str:
    """Return whether a plan keeps within its limits, whichever is likelier, and how sure that is."""
    does = "keeps" if probability >= EVEN_ODDS else "does not keep"
    return f"{who} {does} within {limits}: {sureness(probability)}"


LEAST_SAID = 0.1
"""The smallest CIEDE2000 that :func:`difference` does not round down to nothing."""


def difference(delta_e00: float) -> str:
    """Return the largest CIEDE2000 difference that a side or a room hides, said as every limit is."""
    return limit_words(delta_e00) if np.isfinite(delta_e00) else "any difference"


def need_lines(plan: BlendPlan, viewing: Viewing, unit: Length) -> tuple[str, ...]:
    """Return what the eye asks for, in sentences."""
    need = plan.need
    lines = [
        f"Card and car differ by {plan.delta_e00:.1f} (CIEDE2000). "
        f"Where paint meets paint with no line between, it looks like {np.median(need.no_line):.1f}.",
        f"Judged for {viewing.strictness.words}, from up to {distance(viewing.deciding_distance_m, unit)}, "
        f"in {viewing.light_lux:g} lx ({need.worst}).",
    ]
    if plan.straight_mm.median == 0.0:
        lines.append("Even a hard edge should not be seen: no fade is needed.")
    elif plan.delta_e00 > viewing.allowed.largest_fade:
        lines.append(
            f"That is over the {limit_words(viewing.allowed.largest_fade)} that a fade should be asked to hide: its "
            "edge could be lost, its two ends would still differ. Bring the colour closer first."
        )
    elif not np.isfinite(plan.straight_mm.median):
        lines.append("No fade hides this difference: bring the colour closer first.")
    else:
        lines.append(
            f"To hide it the colour must change evenly over {length_range(plan.straight_mm, unit)}, 95 % interval."
        )
        if plan.spread > 1.0:
            lines.append(
                f"Light flake shows more: the fade is planned {plan.spread:g} times as wide (common practice, from "
                "memory)."
            )
        lines.append(_reach_line(plan, unit))
        lines.append(
            f"What is not known of the eye, some of it published and some chosen, allows "
            f"{length(need.narrowest_mm, unit)} to {length(need.widest_mm, unit)} for this difference: treat the width "
            "as a guide."
        )
    if need.far_end_steps > ENDS_SEEN:
        lines.append("A fade hides the edge, not the difference: someone comparing the two ends may still see it.")
    return tuple(lines)


def panel_line(panel: Panel, unit: Length) -> str:
    """Return what a described panel is, in a few words."""
    count = len(panel.spots)
    repairs = "one repair" if count == 1 else f"{count} repairs"
    return f"{panel.shape}, {length(panel.width_mm, unit)} by {length(panel.height_mm, unit)}, {repairs}"


def area_lines(plan: BlendPlan, unit: Length) -> tuple[str, ...]:
    """Return what is covered as one and what fades by itself, in sentences; none where there is but one repair."""
    lines = []
    for repair in (area.repair for area in plan.areas if len(area.repair.covers) > 1):
        size = f"{length(repair.width_mm, unit)} by {length(repair.height_mm, unit)}"
        lines.append(
            f"{capital(repair.numbered)} lie too near each other for a fade between them: cover them as one area, "
            f"{size}; its distances are from that area's edge."
        )
    if len(plan.areas) > 1:
        names = listed([area.repair.numbered for area in plan.areas])
        lines.append(f"{capital(names)}: each fades on its own, with the car's colour between; one clear over all.")
    return tuple(lines)


def sides_told(plan: BlendPlan, unit: Length) -> list[list[SidePlan]]:
    """Return the sides as they are told: each by itself, or of several repairs those together that read the same."""
    if len(plan.areas) == 1:
        return [[side] for side in plan.sides]
    found: dict[tuple[str, ...], list[SidePlan]] = {}
    for side in plan.sides:
        reads = colour_ends(side, unit), clear_end(side.clear, unit), clear_risk(side.clear), kept(side)
        found.setdefault((side.way.value, *reads, advice(side, unit)), []).append(side)
    return list(found.values())


def sides_named(sides: Sequence[SidePlan]) -> str:
    """Return "to the left and upwards", or "on every side of repair 1; below repair 2"."""
    by_repair: dict[str, list[SidePlan]] = {}
    for each in sides:
        by_repair.setdefault(each.side.repair, []).append(each)
    whole = [repair for repair, its_sides in by_repair.items() if repair and len(its_sides) == len(Direction)]
    others = [each.side.name for each in sides if each.side.repair not in whole]
    return "; ".join([f"on every side of {listed(whole)}"] * bool(whole) + [listed(others)] * bool(others))


def sheet_lines(sides: Sequence[SidePlan], practice: BlendPractice, unit: Length) -> tuple[str, ...]:
    """Return what the steps do not say of sides alike: how they are handled, the risk, and what else can be done."""
    side = sides[0]
    risk = clear_risk(side.clear)
    unsure = side.hides_probability < practice.fade.sureness
    lines = side_way(sides, unit), f"Risk: {risk}." if risk else "", advice(side, unit) if unsure else ""
    return tuple(line for line in lines if line)


def side_lines(sides: Sequence[SidePlan], practice: BlendPractice, unit: Length) -> tuple[str, ...]:
    """Return what to do on sides alike: where the colour goes, then the clear, then sureness and advice."""
    side = sides[0]
    lines = [side_way(sides, unit)]
    risk = clear_risk(side.clear)
    lines.append(f"Clear: {clear_end(side.clear, unit)}.{f' Risk: {risk}.' if risk else ''}")
    lines.append(f"{kept(side)}.")
    if side.hides_probability < practice.fade.sureness:
        lines.append(advice(side, unit))
    return tuple(lines)


def side_way(sides: Sequence[SidePlan], unit: Length) -> str:
    """Return how the colour is ended on sides that are alike, and where."""
    return f"{capital(sides_named(sides))}: {sides[0].way.value}. {colour_ends(sides[0], unit)}"


def clear_end(clear: Clear, unit: Length) -> str:
    """Return where the clear goes."""
    return {
        ClearEnd.PANEL: "the whole panel, to its edge",
        ClearEnd.BOTH_PANELS: "both whole panels, to their edges",
        ClearEnd.NEXT_BREAK: f"carried on to the next break, {length(clear.to_mm or 0.0, unit)} from the repair",
        ClearEnd.BODY_LINE: f"the body line beyond the fade, {length(clear.to_mm or 0.0, unit)} from the repair",
        ClearEnd.OPEN: (
            "carry it on to the next edge, gap or sharp break, and give that distance too; only where there is none "
            "to be reached is it melted out on the open panel"
        ),
    }[clear.ends]


def clear_risk(clear: Clear) -> str:
    """Return the risk of ending the clear there, empty where it ends as it should; common practice."""
    return {
        ClearEnd.BODY_LINE: "an edge of clear along a body line can be felt, and may show from the side",
        ClearEnd.OPEN: (
            "a melted edge of clear can show as a ring and may peel in time: only where the data sheet allows it"
        ),
    }.get(clear.ends, "")


def kept(side: SidePlan) -> str:
    """Return how surely a side keeps within its limit, and how many viewers object to what is seen there."""
    sure = keeps_within("This side", "its limit", side.hides_probability)
    return f"{sure}; {in_hundred(side.objecting)} viewers would object to what is seen there"


def advice(side: SidePlan, unit: Length) -> str:
    """Return what else can be done where a side does not hide the difference surely."""
    if side.way is Way.TOO_FAR_APART:
        return "Tint and spray another card: a fade hides the edge between two colours, not how far apart its ends are."
    choices = []
    if side.largest_delta_e00 >= LEAST_SAID:
        wanted = difference(side.largest_delta_e00)
        if side.hides_probability >= EVEN_ODDS:
            choices.append(
                f"the card is near the {wanted} that this side hides: bring it closer, or take a surer photo"
            )
        else:
            choices.append(f"bring the card under {wanted} and {_enough(side, side.side.whole_room_mm, unit)} will do")
    else:
        choices.append("bring the colour closer")
    if side.side.end is not End.NEXT_PANEL and side.stop is StopKind.GAP and side.side.end is End.PANEL_EDGE:
        choices.append("carry the fade onto the panel beyond, if it may be painted")
    return capital("; or ".join(choices)) + "."


def from_edge(at_mm: float, unit: Length) -> str:
    """Return a place as it is found from the repair's edge."""
    if abs(at_mm) < MM_STEP:
        return "at the repair's edge"
    return f"{length(abs(at_mm), unit)} {'outside' if at_mm > 0.0 else 'inside'} the repair's edge"


def hands(count: float) -> str:
    """Return a count of hand widths, to the quarter."""
    quarters = Fraction(round(4 * count), 4)
    return f"{_mixed(quarters)} hand{'' if 0 < quarters <= 1 else 's'}"


def colour_ends(side: SidePlan, unit: Length) -> str:
    """Return how far the colour is full and where it ends, in a sentence."""
    ends = length(side.fades_to_mm, unit)
    if side.way is Way.STOP:
        return f"Full colour to the {_stop_words(side)} at {ends}."
    if side.way is Way.EDGE_TO_EDGE:
        return f"Full colour over this panel and the next, to the {_stop_words(side)} at {ends}."
    if side.way is Way.EDGE_HIDDEN:
        return f"Cover the repair and let the gun's soft edge end by {ends}."
    full = f"Full colour to {length(side.covers_to_mm, unit)} from the repair"
    left = float(side.fade.new_share[-1])
    if side.stop is not None and left >= MOSTLY_LEFT:
        passes = ", which passes there" if side.hides_probability >= EVEN_ODDS else ""
        return (
            f"{full}; there is no room to fade it out, so thin it to the {_stop_words(side)} at {ends}: "
            f"{side.left_delta_e00:.1f} of the {side.left_delta_e00 / left:.1f} is left{passes}."
        )
    text = f"{full}, then fade"
    if side.stop is None:
        text += f", gone by {ends}"
    else:
        text += f" to the {_stop_words(side)} at {ends}; {side.left_delta_e00:.1f} of the difference is left there"
    if side.onto_next_mm > 0.0:
        text += f", {length(side.onto_next_mm, unit)} onto the next panel"
    return text + "."


def _enough(side: SidePlan, room_mm: float, unit: Length) -> str:
    return "these coats" if side.way is Way.COATS_END else f"the {length(room_mm, unit)} you have"


def _stop_words(side: SidePlan) -> str:
    return side.stop.value if side.stop else "open panel"


def _reach_line(plan: BlendPlan, unit: Length) -> str:
    if not np.isfinite(plan.reach_mm.median):
        return "That is wider than these coats can fade, whatever the room: bring the colour closer first."
    return (
        f"Sprayed, the paint then reaches {length_range(plan.reach_mm, unit)} from the repair, "
        f"the covered strip included."
    )
