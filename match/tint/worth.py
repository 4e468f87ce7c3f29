"""Which ways on from a card are worth the next one."""

from match.tint.answer import Action, Expected
from match.tint.limits import TintLimits
from match.tint.place import Place
from match.tint.tinting import TintJob
from match.tint.ways import WayOn, addition, best_way, next_mix

LIKELY = 0.6  # chance of coming closer from which a step is worth a card where nothing else leads on


def ways_on(place: Place) -> list[WayOn]:
    """Return the best way of each kind that the shop wants."""
    return [
        way
        for action, finder in ((Action.TINT, addition), (Action.NEXT_MIX, next_mix))
        if action in place.wanted.ways and (way := best_way(place, finder)) is not None
    ]


def gain(now: Expected, way: WayOn) -> float:
    """Return by how many CIEDE2000 a way is expected to come nearer."""
    return now.difference - way.expected.difference


def photographed_again(job: TintJob) -> bool:
    """Return whether the last photo is one more of a card of the pot as it stands."""
    last = job.log.steps[-1] if job.log.steps else None
    return last is not None and not (last.additions_g or last.untinted_g or last.mix_g)


def is_worth_a_card(way: WayOn, now: Expected, sure: bool, limits: TintLimits) -> bool:
    """Return whether a way gains enough; where the card is ``sure`` to be off, whether it is likely to gain at all.

    Then what stands in the way is doubt about the toners, and only the next card takes it away.
    """
    gained = gain(now, way)
    surer = way.expected.chance_within_goal - now.chance_within_goal
    likely = sure and way.closer >= LIKELY
    return gained >= limits.least_gain or (gained > 0 and (likely or surer >= limits.chance_gain))
