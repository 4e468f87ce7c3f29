"""The ways one side can be handled: a hard edge, a stop at a line, or a fade; and how surely each hides the colour."""

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from match.blend.coat_plans import STEP_MM, BlendPractice, FadeLibrary
from match.blend.need import LargestDifference, Need
from match.blend.sides import End, Side
from match.check.verdict import Allowed
from match.colorimetry import Array

Flags = NDArray[np.bool_]

FADES_AT_ONCE = 32
"""Engineering choice: with thousands of samples they still fit the processor's own memory."""


class Way(Enum):
    """How the colour is ended on one side; the value is what a painter would say."""

    EDGE_HIDDEN = "no fade needed"
    STOP = "stop at full colour"
    FADE = "fade inside the panel"
    FADE_ONTO_NEXT = "fade onto the next panel"
    EDGE_TO_EDGE = "colour the next panel too, edge to edge"
    TOO_LITTLE_ROOM = "not enough room to hide it"
    COATS_END = "there is room, but these coats cannot fade so wide"
    TOO_FAR_APART = "more than a fade should be asked to hide"


class StopKind(Enum):
    """What a colour can stop at."""

    BODY_LINE = "body line"
    GAP = "panel edge"
    OTHER_PART = "edge of another part"
    NO_EDGE = "end of the room"
    NOTHING_BEYOND = "end of the car's colour"


@dataclass(frozen=True)
class Stop:
    """A place where the colour may end: how far out, at what, and the CIEDE2000 that still passes there.

    Where the panel runs on nothing passes: a fade must be finished before.
    """

    at_mm: float
    kind: StopKind
    limit: float


@dataclass(frozen=True)
class Stretch:
    """A run of paintable surface: where it begins (mm from the repair), what the fade may use, and where it may stop.

    ``stops`` are measured from ``origin_mm``; the last is the stretch's end. Within ``inside_mm`` before the origin the
    stroke may already be eased off; further in, the other side's fade begins.
    """

    origin_mm: float
    inside_mm: float
    stops: tuple[Stop, ...]
    onto_next: bool


@dataclass(frozen=True)
class Option:
    """One way to handle a side; ``hides`` (n,) says for each sample whether it hides the difference.

    ``plan`` is the row of the fade library, None where no fade is sprayed, and ``shift_mm`` how far outwards it is
    moved from the repair; ``reach_mm`` is from the stretch's origin;
    ``scale`` is the largest factor on the measured difference that this way could hide with any of its plans.
    """

    way: Way
    stretch: Stretch
    stop: Stop
    plan: int | None
    shift_mm: float
    hides: Flags
    reach_mm: float
    scale: float

    @property
    def ends_at_mm(self) -> float:
        """How far from the repair the colour ends."""
        return self.stretch.origin_mm + self.reach_mm

    @property
    def probability(self) -> float:
        """Share of samples hidden."""
        return float(self.hides.mean())


@dataclass(frozen=True)
class Means:
    """All that the options of every side share.

    ``straight_scale`` (c, x) is the factor on the measured difference that each plan's steepest place so far hides, as
    far out as any stop lies;
    ``orientation_film`` is the film of the light last coat that flake asks for, in covering coats.
    """

    need: Need
    largest: LargestDifference
    gun: str
    library: FadeLibrary
    straight_scale: Array
    practice: BlendPractice
    allowed: Allowed
    orientation_film: float = 0.0


def stretches(side: Side, inside_mm: float, means: Means) -> tuple[Stretch, ...]:
    """Return the runs a fade may use, in the order they are preferred.

    This panel alone; then the next panel alone beyond the strip kept covered along the shared gap (the trade's way);
    then both panels together, the fade crossing the gap.
    """
    own_stops = _stops(side.lines_mm, side.room_mm, _beyond(side.end, side.car_colour_beyond), means, side.end_limit)
    runs = [Stretch(0.0, inside_mm, own_stops, onto_next=False)]
    if side.next_panel is not None:
        following = side.next_panel
        beyond = _beyond(following.end, following.car_colour_beyond)
        next_stops = _stops(following.lines_mm, following.room_mm, beyond, means)
        shifted = tuple(Stop(side.room_mm + stop.at_mm, stop.kind, stop.limit) for stop in next_stops)
        runs.append(Stretch(side.room_mm, inside_mm + side.room_mm, next_stops, onto_next=True))
        runs.append(Stretch(0.0, inside_mm, shifted, onto_next=True))
    return tuple(runs)


def side_options(side: Side, inside_mm: float, means: Means) -> tuple[Option, ...]:
    """Return the ways to end the colour on a side, the simplest first: a hard edge, a stop at each line, each fade.

    ``inside_mm`` is how far inside the repair this side's strokes may reach: half the repair.
    """
    runs = stretches(side, inside_mm, means)
    hard = [_edge_hidden(runs[0], means), *(_hard_stop(runs[0], stop, means) for stop in runs[0].stops)]
    fades = [_fade(run, means) for run in runs]
    if side.next_panel is None:
        return (*hard, *fades)
    whole = _edge_to_edge(runs[-1], means)
    # where nothing is left to compare with, a fade cut off there would be full colour by another name
    return (*hard, whole, *fades) if whole.stop.kind is StopKind.NOTHING_BEYOND else (*hard, *fades, whole)


def best_option(options: tuple[Option, ...], sureness: float, too_far: bool = False) -> Option:
    """Return the option that paints the least of those that hide the difference surely enough, else the surest one.

    Of options as good as each other the one that reaches less far is taken, so that a colour that does not fit is never
    spread further than it must be; where they reach equally far, the simplest.
    """
    sure = [option for option in options if option.probability >= sureness]
    if sure:
        return min(sure, key=lambda option: option.ends_at_mm)
    if too_far:
        return min(options, key=lambda option: (-round(option.probability, 2), option.ends_at_mm))
    return max(options, key=lambda option: (round(option.probability, 2), round(option.scale, 2), -option.ends_at_mm))


def hidden_without_fade(options: tuple[Option, ...]) -> Flags:
    """Return for each sample (n,) whether the colour could end on this side with no fade at all."""
    return np.asarray(np.any([option.hides for option in options if option.way in (Way.EDGE_HIDDEN, Way.STOP)], axis=0))


def largest_without_fade(options: tuple[Option, ...], means: Means) -> float:
    """Return the largest CIEDE2000 with which the colour could end on this side with no fade; may be infinite."""
    edge = [means.largest.delta_e00_at(option.scale) for option in options if option.way is Way.EDGE_HIDDEN]
    return max([*edge, *(option.stop.limit for option in options if option.way is Way.STOP)])


def _beyond(end: End, car_colour_beyond: bool) -> StopKind:
    if not car_colour_beyond and end is not End.NEXT_PANEL:
        return StopKind.NOTHING_BEYOND
    return {End.OTHER_PART: StopKind.OTHER_PART, End.NO_EDGE: StopKind.NO_EDGE}.get(end, StopKind.GAP)


def _stops(
    lines_mm: tuple[float, ...], room_mm: float, last: StopKind, means: Means, end_limit: float | None = None
) -> tuple[Stop, ...]:
    limits = {
        StopKind.BODY_LINE: means.allowed.body_line,
        StopKind.GAP: means.allowed.panel_gap,
        StopKind.OTHER_PART: means.allowed.other_part,
        StopKind.NO_EDGE: 0.0,
        StopKind.NOTHING_BEYOND: np.inf,
    }
    lines = [Stop(at, StopKind.BODY_LINE, limits[StopKind.BODY_LINE]) for at in sorted(lines_mm)]
    return (*lines, Stop(room_mm, last, limits[last] if end_limit is None else min(end_limit, limits[last])))


def _edge_hidden(run: Stretch, means: Means) -> Option:
    """Cover the repair and stop anywhere: right when even a hard edge with no line is below the limit."""
    outwards = _outwards_mm(run, means)
    ends = means.library.fade_end_mm + outwards
    plan = int(np.argmin(ends))
    reach, hides = min(float(ends[plan]), run.stops[-1].at_mm), means.need.straight_mm == 0.0
    shift = min(float(outwards[plan]), reach)
    return Option(Way.EDGE_HIDDEN, run, run.stops[-1], plan, shift, hides, reach, float(means.largest.scale_at(0.0)))


def _hard_stop(run: Stretch, stop: Stop, means: Means) -> Option:
    hides = means.need.delta_e00 <= stop.limit
    return Option(Way.STOP, run, stop, None, 0.0, hides, stop.at_mm, float(_step_scale(stop, 1.0, means)))


def _edge_to_edge(run: Stretch, means: Means) -> Option:
    """Colour this panel and the next in full, to the far end of the next.

    However much may be left at that end, the difference may not be more than a fade should be asked to hide: the next
    panel's other edges meet the car's colour as well.
    """
    end = run.stops[-1]
    stop = replace(end, limit=min(end.limit, means.allowed.largest_fade))
    return replace(_hard_stop(run, stop, means), way=Way.EDGE_TO_EDGE)


def _fade(run: Stretch, means: Means) -> Option:
    """Return the fade that hides surely in the least room, or the surest there is, over all places it may stop."""
    tried = [_fade_until(run, stop, means) for stop in run.stops]
    sure = [option for option in tried if option.probability >= means.practice.fade.sureness]
    if sure:
        chosen = min(sure, key=lambda option: option.reach_mm)
    else:
        chosen = max(tried, key=lambda option: (round(option.probability, 2), option.scale))
    return replace(chosen, scale=max(option.scale for option in tried))


def _fade_until(run: Stretch, stop: Stop, means: Means) -> Option:
    """Return the best fade for one stop: one that is finished before it, or one pushed outwards and cut off there."""
    library = means.library
    outwards = _outwards_mm(run, means)
    plans = np.flatnonzero(outwards <= stop.at_mm)
    if not len(plans):
        return _hard_stop(run, stop, means)
    places = library.place(stop.at_mm) + 1
    share = library.new_share[plans, :places]
    share = np.where(share > means.practice.hiding.last_trace, share, 0.0)
    cut_scale = np.minimum(means.straight_scale[plans, :places], _step_scale(stop, share, means))
    ends = library.fade_end_mm[plans] + outwards[plans]
    # coats that end alike build a ridge on the open panel; at a stop they may
    finished = np.flatnonzero((ends <= stop.at_mm) & library.staggered[plans])
    inside = library.x_mm[:places] <= (stop.at_mm - outwards[plans])[:, np.newaxis] + 1e-9
    # cut off where the most is hidden, or pushed outwards no further than it must be
    cut_at = np.argmax(np.where(inside, cut_scale, -np.inf), axis=1), inside.sum(axis=1) - 1
    every = np.arange(len(plans))
    row = np.concatenate([finished, every, every])
    place = np.concatenate([np.full(len(finished), places - 1), *cut_at])
    reach = np.concatenate([ends[finished], np.full(2 * len(plans), stop.at_mm)])
    shift = np.concatenate([outwards[plans[finished]], stop.at_mm - library.x_mm[place[len(finished) :]]])
    straight, left, scale = library.straight_mm[plans[row], place], share[row, place], cut_scale[row, place]
    probability = _probability(straight, left, stop, means)
    sure = probability >= means.practice.fade.sureness
    if sure.any():
        coats = np.array([len(library.coats[plan]) for plan in plans[row]])
        # the least left at a stop, the least full colour, the fewer coats and staggered ones decide a tie
        ties = 1e-3 * (coats + shift) + 0.05 * left + 0.1 * ~library.staggered[plans[row]]
        best = int(np.argmin(np.where(sure, reach + ties, np.inf)))
    else:
        best = int(np.lexsort((-reach, scale, np.round(probability, 2)))[-1])
    way = Way.FADE_ONTO_NEXT if run.onto_next else Way.FADE
    plan, most = int(plans[row[best]]), float(scale.max())
    hides = _hides(straight[best : best + 1], left[best : best + 1], stop, means)[0]
    return Option(way, run, stop, plan, float(shift[best]), hides, float(reach[best]), most)


def _hides(straight: Array, left: Array, stop: Stop, means: Means) -> Flags:
    """Return which samples (f, n) fades hide that are so wide in mm (f,) and leave such a share (f,) at a stop."""
    need = means.need
    hides = (straight[:, np.newaxis] >= need.straight_mm) & (left[:, np.newaxis] * need.delta_e00 <= stop.limit)
    hides &= need.delta_e00 <= means.allowed.largest_fade  # however wide a fade is, its two ends differ by all of it
    return hides


def _probability(straight: Array, left: Array, stop: Stop, means: Means) -> Array:
    """Return the share (f,) of the samples that each fade hides, a few fades at a time: all at once take 100 MB."""
    parts = [slice(first, first + FADES_AT_ONCE) for first in range(0, len(straight), FADES_AT_ONCE)]
    counts = [np.count_nonzero(_hides(straight[part], left[part], stop, means), axis=1) for part in parts]
    return np.asarray(np.concatenate(counts) / len(means.need.straight_mm))


def _outwards_mm(run: Stretch, means: Means) -> Array:
    """Return how far (c,) each plan is moved outwards so that it eases off only within this side's half of the repair.

    In whole steps of the grid, so that what is simulated is what is planned.
    """
    beyond = np.maximum(0.0, -run.inside_mm - means.library.full_inside_mm)
    return np.asarray(STEP_MM * np.ceil(beyond / STEP_MM))


def _step_scale(stop: Stop, share: ArrayLike, means: Means) -> Array:
    """Return by how much (...) the difference may grow until the share left at a stop exceeds what passes there."""
    left = np.asarray(share, dtype=np.float64) * means.largest.measured_delta_e00
    return np.asarray(np.divide(stop.limit, left, out=np.full(left.shape, np.inf), where=left > 0.0))
