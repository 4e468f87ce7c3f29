"""What is wrong with a set of photos: a spoiled photo, one that disagrees, light that differs by side, an angle."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from match.check.verdict import Finish
from match.check.words import TOO_WIDE
from match.colorimetry import delta_e00
from match.measure.finding import Code, Finding, Words
from match.several.combined import Combined, Outlier
from match.several.photo_set import Angle, Tilt
from match.several.travel import ANGLE_WORDS, CALLED, HOW_TO_TAKE


def _angle(found: Finding) -> Angle:
    return Angle(str(found.values["angle"]))


def _where(found: Finding) -> str:
    return ANGLE_WORDS[_angle(found)]


def _swapped_words(found: Finding) -> Words:
    called = {key: CALLED[Angle(str(found.values[f"{key}_angle"]))] for key in ("first", "second")}
    remedy = "Call {first} {second_called} and {second} {first_called}, or take both again."
    more = {f"{key}_called": words for key, words in called.items()}
    if "first_tilt" in found.values:
        return Words(
            "by the capture sheet {first}, called {first_called}, was taken {first_tilt:.0f}° off straight on, and "
            "{second}, called {second_called}, {second_tilt:.0f}°: the two look swapped.",
            remedy,
            more,
        )
    return Words(
        "the car is lighter in {second}, called {second_called}, than in {first}, called {first_called}: the two look "
        "swapped.",
        remedy,
        more,
    )


_LAMP = "Use the car's own formula or another variant of it: a toner of other pigment cannot follow the lamp."


class SetCode(Code):
    """What can be wrong with a set of photos."""

    PHOTO_LEFT_OUT = (
        "photo-left-out",
        "{photo} does not count: {why}",
        "{why_remedy}",
    )
    PHOTO_DISAGREES = (
        "photo-disagrees",
        "{photo} disagrees with the other {others} photos. It still counts: with it the difference is "
        "{with_it:.1f}, without it {without:.1f}.",
        "Look at {photo} for glare, shadow or a card that does not lie flat; take it again or remove it.",
    )
    PHOTOS_DISAGREE = (
        "photos-disagree",
        lambda found: Words(
            f"the {'two' if found.values['count'] == 2 else found.values['count']} photos disagree with one another by "
            "more than a card laid down again should.",
            "Look for glare, shadow or a card that does not lie flat in one of them, and take one more photo.",
        ),
    )
    SIDES_DIFFER = (
        "sides-differ",
        "the light differs from one side of the card to the other by about {size:.1f}. The swap has taken it out.",
        "Keep the swap in every set you take in this place, or turn the panel or the lamp.",
    )
    ANGLE_MISSING = (
        "angle-missing",
        lambda found: Words(
            "there is no photo {where}: a {finish} can match elsewhere and be off there.",
            HOW_TO_TAKE[_angle(found)],
            {"where": _where(found)},
        ),
    )
    UNDECIDED = (
        "undecided",
        lambda found: Words(
            f"{_where(found)} {TOO_WIDE}.",
            "Lay the card again and move it to the car's other side for two more photos at this angle.",
        ),
    )
    ANGLES_ALIKE = (
        "angles-alike",
        "the car looks hardly darker at the flop than face-on, so the two photos may show the same angle.",
        HOW_TO_TAKE[Angle.FLOP] + " Use one lamp or the sun, not a ceiling full of light.",
    )
    ANGLES_SWAPPED = "angles-swapped", _swapped_words
    ANGLE_MISCALLED = (
        "angle-miscalled",
        lambda found: Words(
            "{photo} is called {called}, but by the capture sheet it was taken {tilt:.0f}° off straight on.",
            f"Say what {{photo}} shows, or take it again. {HOW_TO_TAKE[_angle(found)]}",
            {"called": CALLED[_angle(found)]},
        ),
    )
    NO_FLAKE = (
        "no-flake",
        "no flake is seen in card or car.",
        "Go closer, under one lamp or the sun.",
    )
    NOISE_DROWNS_FLAKE = (
        "noise-drowns-flake",
        "the photo's noise drowns the flake, so it cannot be compared.",
        "Bring more light, hold the phone still, and switch night mode off.",
    )
    SCALE_DIFFERS = (
        "scale-differs",
        "card and car are shown at different scale, so their flake cannot be compared.",
        "Lay the card flat on the panel and photograph both from the same distance.",
    )
    SHARPNESS_DIFFERS = (
        "sharpness-differs",
        "the {blurred} looks less sharp, or its flake is far coarser: which of the two cannot be told.",
        "Lay the card flat on the panel, tap between card and car to focus, and hold the phone square to them.",
    )
    LIGHT_BREAKS_MATCH = (
        "light-breaks-match",
        "card and car match under one of {first} and {second} only.",
        _LAMP,
    )
    LIGHT_SHIFTS_DIFFERENCE = (
        "light-shifts-difference",
        "the difference between card and car changes from {first} to {second}.",
        _LAMP,
    )


def named(name: str, findings: Sequence[Finding], alone: bool) -> tuple[Finding, ...]:
    """Return a photo's own findings as its own, said with its name in front unless it is ``alone``."""
    return tuple(replace(found, photo=name, of=() if alone else (name,)) for found in findings)


def left_out(name: str, findings: Sequence[Finding]) -> Finding:
    """Return that a photo does not count, and why."""
    why = next(found for found in findings if found.spoils)
    return Finding(SetCode.PHOTO_LEFT_OUT, False, values={"photo": name}, why=replace(why, photo=name))


def disagrees(outlier: Outlier, result: Combined, count: int) -> Finding:
    """Return that one of ``count`` photos disagrees with the rest, and what it does to the result."""
    sizes = {"with_it": round(result.delta_e00, 1), "without": round(outlier.delta_e00_without, 1)}
    return Finding(SetCode.PHOTO_DISAGREES, False, values={"photo": outlier.name, "others": count - 1, **sizes})


def spread_findings(count: int, wide: bool) -> tuple[Finding, ...]:
    """Return that ``count`` photos lie further apart than a card laid again should; nothing when they do not."""
    return (Finding(SetCode.PHOTOS_DISAGREE, False, values={"count": count}),) if wide else ()


def sides_differ(result: Combined, warning: float) -> tuple[Finding, ...]:
    """Return that a swap took out a difference of light above ``warning`` (CIEDE2000); nothing when it did not."""
    if result.gradient_lab is None or result.gradient_sd is None:
        return ()
    size = float(delta_e00(result.vehicle_lab + result.gradient_lab, result.vehicle_lab))
    sure = bool(np.any(np.abs(result.gradient_lab) > 2.0 * result.gradient_sd))
    if size < warning or not sure:
        return ()
    return (Finding(SetCode.SIDES_DIFFER, False, values={"size": round(size, 1)}),)


def angle_missing(angle: Angle, finish: Finish) -> Finding:
    """Return that a needed angle has no photo."""
    return Finding(SetCode.ANGLE_MISSING, True, values={"angle": angle.value, "finish": finish.value})


def angles_swapped(
    photos: tuple[str, str], called: tuple[Angle, Angle], tilts: tuple[float, float] | None = None
) -> Finding:
    """Return that two photos look called by each other's angle, by the sheet (degrees) or by the car's brightness."""
    values: dict[str, float | str] = {
        "first": photos[0],
        "second": photos[1],
        "first_angle": called[0].value,
        "second_angle": called[1].value,
    }
    if tilts:
        values |= {"first_tilt": round(tilts[0]), "second_tilt": round(tilts[1])}
    return Finding(SetCode.ANGLES_SWAPPED, True, values=values)


def miscalled(photo: str, angle: Angle, tilt: Tilt) -> Finding:
    """Return that a photo cannot show the angle it is called, by the capture sheet in it."""
    values = {"photo": photo, "angle": angle.value, "tilt": round(tilt.degrees)}
    return Finding(SetCode.ANGLE_MISCALLED, True, values=values)


def angle_undecided(angle: Angle, interval: tuple[float, float]) -> Finding:
    """Return that the difference at one angle may be anything from go to retint."""
    low, high = (round(end, 1) for end in interval)
    return Finding(SetCode.UNDECIDED, True, values={"angle": angle.value, "low": low, "high": high})
