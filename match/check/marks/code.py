"""What may be wrong with marks, in words."""

from collections.abc import Callable, Sequence

from match.measure.finding import Code, Finding, Words
from match.measure.photo_code import PhotoCode
from match.photo.regions import EVERY_QUESTION, Kind, Region
from match.words import listed

ANSWERED = "You looked, and said that it is right: look once more before you paint."
"""What is left to do about a doubt that a person's word spoke against."""


def _doubt(text: str, remedy: str) -> Callable[[Finding], Words]:
    """Return the words of a doubt; a remedy that asks to move a mark is none for who said that it lies right."""
    return lambda found: Words(text, remedy if found.spoils else ANSWERED)


def _grey_value(found: Finding) -> Words:
    if not found.spoils:
        remedy = (
            "The interval allows for that. It need not, if you mark another step or the card's white field as one more "
            "grey."
        )
    elif "white" in found.values:
        remedy = (
            "Give the reflectance of the step that is marked. If it is right, nothing in the frame is white: lay "
            "something white in it."
        )
    else:
        remedy = (
            "Give the reflectance of the step that is marked. If it is right, mark another step or the card's white "
            "field as one more grey."
        )
    return Words("{Region} does not look like {percent:.0f} %: it reads more like a step of {likely:.0f} %.", remedy)


class MarkCode(Code):
    """A mark that does not lie on what it is said to lie on."""

    ONE_SURFACE = (
        "mark-one-surface",
        _doubt(
            "{Region} and {other} look like one surface: no border is seen between them.",
            "Put the card's mark inside the sprayed part of the card and the car's mark on the car. If both are right, "
            "let the card's edge show, with a strip of tape along it, and take the photo again.",
        ),
    )
    GREY_WITHOUT_BORDER = (
        "mark-grey-on-paint",
        _doubt(
            "{Region} reads like the paint it lies on: no border is seen between it and {other}.",
            "Move it onto the grey reference; the paint cannot be its own reference.",
        ),
    )
    GREY_ELSEWHERE = (
        "mark-grey-elsewhere",
        _doubt(
            "{Region} does not look like a grey reference of {percent:.0f} %.",
            "Move it onto the grey reference, or give the reflectance that is printed on it.",
        ),
    )
    GREY_VALUE = ("mark-grey-value", _grey_value)
    GREYS_SWAPPED = (
        "mark-greys-swapped",
        _doubt(
            "{Region} and {other} look swapped: the darker one is said to be the lighter.",
            "Exchange their reflectances, and look at the other steps too.",
        ),
    )
    GREYS_TURNED = (
        "mark-greys-order",
        _doubt(
            "The grey steps look named in the wrong order: darker ones are said to be lighter.",
            "Give each step the reflectance that is printed on it.",
        ),
    )
    GREY_STRAY = (
        "mark-grey-stray",
        _doubt(
            "{Region} does not fit the other grey steps.",
            "Look whether it lies on its step, and at the reflectance given for it; or leave it out.",
        ),
    )
    LADDER = (
        "mark-ladder",
        _doubt(
            "The grey steps lie too close together or too far apart for the reflectances given.",
            "Give the reflectances that are printed on your own step card.",
        ),
    )
    ACROSS = (
        "mark-across",
        _doubt(
            "{Region} lies across a border: it shows two surfaces.",
            "Draw it smaller, inside one surface, and keep clear of edges and reflections.",
        ),
    )
    CAR_ELSEWHERE = (
        "mark-car-elsewhere",
        _doubt(
            "{Region} and {other} do not show one paint in one light.",
            "Keep car marks on the same panel, out of shadow, and off glass, trim and reflections; or leave one out.",
        ),
    )
    CAR_NOT_ABOUT = (
        "mark-car-not-about",
        _doubt(
            "{Region} does not show the paint that lies around {other}.",
            "Mark the car close beside the card, on the panel it is held on, out of shadow and off glass and trim; or "
            "hold the card on that panel and take the photo again.",
        ),
    )
    NO_CARD = (
        "mark-no-card",
        _doubt(
            "No edges of a card are seen about {region}.",
            "Put the card's mark inside the sprayed part of the card. If it is there, let the card's edges show, with "
            "a strip of tape along two of them, and take the photo again.",
        ),
    )
    EXCHANGED = (
        "mark-exchanged",
        _doubt(
            "{Region} and {other} look exchanged: what is marked as the card is the larger surface.",
            "Mark the sprayed card as the card, and the panel that it is held on as the car.",
        ),
    )
    TWO_LIGHTS = (
        "mark-two-lights",
        _doubt(
            "{Region} and {other} look like one paint in two lights.",
            "Put the card's mark inside the sprayed part of the card and the car's on the panel beside it, both out of "
            "shadow and reflections.",
        ),
    )


_RIGHT = "right as marked"

_WORDS: dict[str, str] = {
    MarkCode.ONE_SURFACE: "on a surface of its own",
    MarkCode.GREY_WITHOUT_BORDER: "on a surface of its own",
    MarkCode.GREY_ELSEWHERE: "on the grey reference",
    MarkCode.GREY_VALUE: "really a grey of {percent:.3g} %",
    MarkCode.GREYS_SWAPPED: "really a grey of {percent:.3g} %",
    MarkCode.GREYS_TURNED: "really a grey of {percent:.3g} %",
    MarkCode.GREY_STRAY: "on its step, and that is of {percent:.3g} %",
    MarkCode.LADDER: "really a grey of {percent:.3g} %",
    MarkCode.ACROSS: "inside one surface",
    MarkCode.CAR_ELSEWHERE: "on the car's paint, out of shadow and reflections",
    MarkCode.CAR_NOT_ABOUT: "on the {surface}",
    MarkCode.NO_CARD: "on the card",
    MarkCode.EXCHANGED: "on the {surface}",
    MarkCode.TWO_LIGHTS: "out of shadow and reflections",
    PhotoCode.FAR_APART: "on the {surface}",
    EVERY_QUESTION: _RIGHT,
}
"""What a person says of a mark who answers that question about it."""

_SURFACES = {Kind.GREY: "grey reference", Kind.CARD: "card", Kind.VEHICLE: "car's paint"}


def words_on(region: Region, before: Sequence[str] = ()) -> list[str]:
    """Say what a person said of a region: the answers on it, but for those to questions answered before."""
    filling = {"percent": 100.0 * (region.reflectance or 0.0), "surface": _SURFACES[region.kind]}
    return list(
        dict.fromkeys(_WORDS.get(asked, _RIGHT).format_map(filling) for asked in region.sure if asked not in before)
    )


def said_of(regions: Sequence[Region], names: Sequence[str]) -> str:
    """Say what a person said of doubted marks, by the names that the reader knows; empty where nothing was."""
    said = [f"{name} is {listed(words_on(region))}" for region, name in zip(regions, names, strict=True) if region.sure]
    return f"Somebody looked, and said that {'; '.join(said)}. The figures rest on that word." if said else ""
