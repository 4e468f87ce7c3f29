"""The steps of the guided check: what is asked for now, by what lies on the bench. Codes alone; words are made last."""

from dataclasses import dataclass
from enum import StrEnum

from match.check.verdict import Verdict
from match.photo.regions import Kind
from match.ui.guided.places import BoxFault


class Step(StrEnum):
    """What is learnt, in order."""

    GREY = "grey"
    CARD = "card"
    CAR = "car"
    READ = "read"
    SLIP = "slip"
    MEND = "mend"
    ROOM = "room"
    SAVE = "save"


ORDER = tuple(Step)
CHECK, BLEND = "check", "blend"
"""The addresses of the pages that the guided check goes over."""


class Ask(StrEnum):
    """What the person is asked to do now."""

    TAP_GREY = "tap-grey"
    TAP_CARD = "tap-card"
    TAP_CAR = "tap-car"
    TAP_OTHER_SIDE = "tap-other-side"
    NOT_GREY = "not-grey"
    OTHER_GREY = "other-grey"
    NOT_CARD = "not-card"
    NOT_CAR = "not-car"
    ACCEPT = "accept"
    BOX_MISSING = "box-missing"
    READ = "read"
    REFUSED = "refused"
    SLIP = "slip"
    SLIP_FURTHER = "slip-further"
    MEND = "mend"
    TO_ROOM = "to-room"
    ROOM = "room"
    ROOM_PLANNED = "room-planned"
    TO_SAVE = "to-save"
    SAVE = "save"
    SAVED = "saved"
    ELSEWHERE = "elsewhere"


@dataclass(frozen=True)
class Facts:
    """What lies on the bench: the page's address, the kinds of right boxes, and what the app itself says of them.

    ``sides`` counts the car's sides that are boxed, ``fault`` is the first box that lies wrong, ``is_pending`` says
    that found boxes wait for a person's word, and ``verdict`` is none while a box is missing.
    """

    page: str
    right: frozenset[Kind] = frozenset()
    sides: int = 0
    fault: BoxFault | None = None
    is_pending: bool = False
    verdict: Verdict | None = None
    is_room_changed: bool = False
    is_saved: bool = False


def step_after(step: Step, facts: Facts) -> Step:
    """Return the step that the facts lead to: one by one, as far as each is done; those to be read wait for a press."""
    while step is not ORDER[-1] and _is_done(step, facts):
        step = following(step)
    return step


def following(step: Step) -> Step:
    """Return the step after this one."""
    return ORDER[min(ORDER.index(step) + 1, len(ORDER) - 1)]


def _is_done(step: Step, facts: Facts) -> bool:
    refused = facts.verdict is Verdict.RETAKE
    return {
        Step.GREY: Kind.GREY in facts.right and not facts.is_pending,
        Step.CARD: Kind.CARD in facts.right and not facts.is_pending,
        Step.CAR: facts.sides > 1 and facts.fault is None and not facts.is_pending,
        Step.SLIP: refused,
        Step.MEND: facts.verdict is not None and not refused,
    }.get(step, False)


def pages(step: Step) -> tuple[str, ...]:
    """Return the addresses of the pages that a step goes over, its own first."""
    return {Step.ROOM: (CHECK, BLEND), Step.SAVE: (CHECK, BLEND)}.get(step, (CHECK,))


def asked(step: Step, facts: Facts) -> Ask:
    """Return what to ask for."""
    if facts.page not in pages(step):
        return Ask.ELSEWHERE
    if step is Step.SAVE:
        return _asked_to_save(facts)
    if step is Step.ROOM and facts.page == BLEND:
        return Ask.ROOM_PLANNED if facts.is_room_changed else Ask.ROOM
    if facts.is_pending:
        return Ask.ACCEPT
    if step in (Step.GREY, Step.CARD, Step.CAR):
        return _asked_to_tap(step, facts)
    if facts.verdict is None:
        return Ask.BOX_MISSING
    if step is Step.SLIP:
        return Ask.SLIP if facts.fault is None else Ask.SLIP_FURTHER
    if step is Step.MEND:
        return Ask.MEND
    if facts.verdict is Verdict.RETAKE:
        return Ask.REFUSED
    return Ask.READ if step is Step.READ else Ask.TO_ROOM


def _asked_to_tap(step: Step, facts: Facts) -> Ask:
    if facts.fault is not None:
        return Ask(facts.fault.value)
    if step is not Step.GREY and Kind.GREY not in facts.right:  # taken off again, as by one more press of Undo
        return Ask.TAP_GREY
    if step is Step.CARD or (step is Step.CAR and Kind.CARD not in facts.right):
        return Ask.TAP_CARD
    if step is Step.CAR:
        return Ask.TAP_OTHER_SIDE if facts.sides else Ask.TAP_CAR
    return Ask.TAP_GREY


def _asked_to_save(facts: Facts) -> Ask:
    if facts.page != CHECK:
        return Ask.TO_SAVE
    if facts.is_saved:
        return Ask.SAVED
    return Ask.SAVE if facts.verdict not in (None, Verdict.RETAKE) else Ask.BOX_MISSING
