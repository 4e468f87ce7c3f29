"""The plan for one side: covers to, fades from and to, onto the next panel by, clear to, and what is left."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from match.blend.clear import Clear, clear_of
from match.blend.coat_plans import FadeLibrary, coats_in_all
from match.blend.film import Coat
from match.blend.need import faded_difference
from match.blend.options import Means, Option, StopKind, Way, best_option, largest_without_fade
from match.blend.sides import Side
from match.blend.viewing import ColourPair, Viewing, Vision
from match.colorimetry import Array

Flags = NDArray[np.bool_]

EVEN_ODDS = 0.5
"""Below this a plan is more likely to show than to hide, and is called too little room."""


@dataclass(frozen=True)
class Fade:
    """The fade that the coats really leave on one side.

    ``x_mm`` (m,) runs from the repair outwards; ``new_share`` (m,) is the share of the new colour that shows, 0 beyond
    a stop; ``straight_mm`` is the width of the straight fade that is as steep as its steepest place.
    """

    x_mm: Array
    new_share: Array
    straight_mm: float
    coats: tuple[Coat, ...]


@dataclass(frozen=True)
class SidePlan:
    """What to do on one side; lengths in mm from the repair's covered edge.

    Attributes
    ----------
    way : how the colour is ended
    covers_to_mm : the new colour is full up to here
    fades_to_mm : the new colour is down to a trace, or is stopped, here
    onto_next_mm : how much of that lies on the next panel
    stop : what the colour stops at, None where it fades out before
    left_delta_e00 : CIEDE2000 left as a step at that stop
    objecting : share of viewers who would object to what is left there or to what the fade looks like, on the average
        over the samples
    hides (n,), hides_probability : whether each sample is hidden, and the share that is
    largest_delta_e00 : the largest CIEDE2000, in the measured direction, that this side's room hides; may be infinite
    largest_without_fade : the same where the colour is stopped with no fade
    """

    side: Side
    way: Way
    covers_to_mm: float
    fades_to_mm: float
    onto_next_mm: float
    stop: StopKind | None
    left_delta_e00: float
    objecting: float
    fade: Fade
    clear: Clear
    hides: Flags
    hides_probability: float
    largest_delta_e00: float
    largest_without_fade: float


@dataclass(frozen=True)
class Seen:
    """The colours to plan for, and who looks at them how."""

    pairs: Sequence[ColourPair]
    viewing: Viewing
    vision: Vision

    def objecting(self, straight_mm: float, left_delta_e00: Array) -> float:
        """Return the share of viewers who object to a fade of this straight width and to a step left (n,) at a stop."""
        faded = np.zeros_like(left_delta_e00)
        if np.isfinite(straight_mm):
            faded = faded_difference(self.pairs, straight_mm, self.viewing, self.vision)
        return float(self.viewing.viewers.objecting(np.maximum(faded, left_delta_e00)).mean())


def side_plan(side: Side, options: tuple[Option, ...], means: Means, coats_to_cover: float, seen: Seen) -> SidePlan:
    """Return the plan that the best of a side's options makes (see :func:`match.blend.options.side_options`)."""
    too_far = bool(np.median(means.need.delta_e00) > means.allowed.largest_fade)
    option = best_option(options, means.practice.fade.sureness, too_far)
    fade = _hard_edge(option, means, coats_to_cover) if option.plan is None else _achieved(option, means.library)
    ends_at = option.ends_at_mm
    stopped = option.reach_mm >= option.stop.at_mm
    left = float(fade.new_share[-1]) if stopped else 0.0
    step = 0.0 if option.stop.kind is StopKind.NOTHING_BEYOND else left
    straight = np.inf if option.plan is None else fade.straight_mm
    full = fade.x_mm[fade.new_share >= means.library.full_share]
    return SidePlan(
        side=side,
        way=option.way if option.probability >= EVEN_ODDS else _shortfall(side, means),
        covers_to_mm=float(full[-1]) if len(full) else 0.0,
        fades_to_mm=ends_at,
        onto_next_mm=max(0.0, ends_at - side.room_mm) if option.stretch.onto_next else 0.0,
        stop=option.stop.kind if stopped else None,
        left_delta_e00=float(left * np.median(means.need.delta_e00)),
        objecting=seen.objecting(straight, step * means.need.delta_e00),
        fade=fade,
        clear=clear_of(side, ends_at, option.stretch.onto_next),
        hides=option.hides,
        hides_probability=option.probability,
        largest_delta_e00=means.largest.delta_e00_at(max(tried.scale for tried in options)),
        largest_without_fade=largest_without_fade(options, means),
    )


def _shortfall(side: Side, means: Means) -> Way:
    """Say what a side that does not hide the difference lacks: a closer colour, wider coats, or room."""
    if np.median(means.need.delta_e00) > means.allowed.largest_fade:
        return Way.TOO_FAR_APART
    widths = means.library.straight_mm[:, -1]
    widest = int(np.argmax(widths))
    if widths[widest] < np.median(means.need.straight_mm) and means.library.fade_end_mm[widest] <= side.whole_room_mm:
        return Way.COATS_END
    return Way.TOO_LITTLE_ROOM


def _achieved(option: Option, library: FadeLibrary) -> Fade:
    assert option.plan is not None
    last = library.place(option.reach_mm - option.shift_mm)
    origin = option.stretch.origin_mm + option.shift_mm
    before = np.arange(0.0, origin, library.x_mm[1])
    # nearer the repair the film is at least as thick; a jump to the whole would draw an edge that nobody sprays
    inside = np.full_like(before, library.new_share[option.plan, 0])
    return Fade(
        x_mm=np.concatenate([before, origin + library.x_mm[: last + 1]]),
        new_share=np.concatenate([inside, library.new_share[option.plan, : last + 1]]),
        straight_mm=float(library.straight_mm[option.plan, last]),
        coats=tuple(replace(coat, reach_mm=origin + coat.reach_mm) for coat in library.coats_of(option.plan)),
    )


def _hard_edge(option: Option, means: Means, coats_to_cover: float) -> Fade:
    """All coats run at full film over the masked line; the colour stops there as a step."""
    gun = means.practice.guns[means.gun]
    beyond_mm = option.reach_mm + gun.fan_width / 2.0
    coats = (Coat(beyond_mm, 0.0, gun.coat_film),) * coats_in_all(coats_to_cover, gun)
    if means.orientation_film > 0.0:
        coats = (*coats, Coat(beyond_mm, 0.0, means.orientation_film, orientation=True))
    x = np.unique(np.append(means.library.x_mm[means.library.x_mm < option.reach_mm], option.reach_mm))
    return Fade(x, np.ones_like(x), 0.0, coats)
