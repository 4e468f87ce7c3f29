"""Does each photo of an effect finish show the angle that it is called? By what the car's brightness and the sheet say.

Under one lamp an effect finish is lightest near the glare and darkest at the flop, and the capture sheet tells from how
far off straight on it was photographed. A photo called by the wrong angle lets a match go that was never seen there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from match.calibration import quantity
from match.check.verdict import Finish
from match.measure.finding import Finding
from match.measure.words import SURE_SD
from match.several.combined import Combined
from match.several.findings import SetCode, angles_swapped, miscalled
from match.several.photo_set import Angle, MarkedPhoto, Tilt
from match.several.travel import CALLED


@dataclass(frozen=True)
class OrderRules:
    """Table ``angles`` of ``calibration/several.toml``."""

    darker_flop: float = quantity("CIELAB L*")
    straight_most: float = quantity("deg")
    low_least: float = quantity("deg")


def order_findings(
    by_angle: Mapping[Angle, Combined], tilts: Mapping[str, Tilt], finish: Finish, rules: OrderRules
) -> tuple[Finding, ...]:
    """Return what speaks against the angles that the photos are called by; nothing for a solid.

    Parameters
    ----------
    by_angle : the photos of one lamp, combined at each angle
    tilts : from how far off straight on each photo was taken, by its name, where it shows the capture sheet
    finish : what the brightness says spoils a metallic's match; a pearl may turn in hue instead, and is told of it
    rules : ``calibration/several.toml``, table ``angles``
    """
    if finish is Finish.SOLID:
        return ()
    by_sheet = _by_sheet(by_angle, tilts, rules)
    told = {name for found in by_sheet for name in _photos_of(found)}
    by_brightness = [
        found
        for found in _by_brightness(by_angle, finish is Finish.METALLIC, rules)
        if not told & set(_photos_of(found))
    ]
    return (*by_sheet, *by_brightness)


def exchanged(findings: Sequence[Finding]) -> dict[Angle, Angle]:
    """Return by what angle those of two swapped angles are to be called; empty where none look swapped."""
    for found in findings:
        if found.code is SetCode.ANGLES_SWAPPED:
            first, second = (Angle(str(found.values[f"{key}_angle"])) for key in ("first", "second"))
            return {first: second, second: first}
    return {}


def exchanged_words(called: Mapping[Angle, Angle]) -> str:
    """Say that two angles were exchanged, for a person to look at."""
    first, second = (CALLED[angle] for angle in called)
    return f"What was called {first} and what was called {second} were exchanged. Look whether that is right."


def called_anew(photos: Sequence[MarkedPhoto], called: Mapping[Angle, Angle]) -> tuple[MarkedPhoto, ...]:
    """Return the photos with some angles called by others, under whatever lamp they were taken."""
    return tuple(
        replace(photo, use=replace(photo.use, angle=called.get(photo.use.angle, photo.use.angle))) for photo in photos
    )


def _photos_of(found: Finding) -> tuple[str, ...]:
    return tuple(str(found.values[key]) for key in ("photo", "first", "second") if key in found.values)


def _by_brightness(by_angle: Mapping[Angle, Combined], spoils: bool, rules: OrderRules) -> list[Finding]:
    """Compare each two angles: the car must look darker at the one further from the glare."""
    lightness = {angle: float(by_angle[angle].vehicle_lab[0]) for angle in Angle if angle in by_angle}
    taken = list(lightness)
    pairs = [(one, two) for index, one in enumerate(taken) for two in taken[index + 1 :]]
    rise, first, second = max(
        ((lightness[two] - lightness[one], one, two) for one, two in pairs), default=(0.0, Angle.FACE, Angle.FLOP)
    )
    if rise > rules.darker_flop:
        names = (by_angle[first].names[0], by_angle[second].names[0])
        return [replace(angles_swapped(names, (first, second)), spoils=spoils)]
    if {Angle.FACE, Angle.FLOP} <= set(taken):
        fall = lightness[Angle.FACE] - lightness[Angle.FLOP]
        if fall <= (rules.darker_flop if spoils else 0.0):
            return [Finding(SetCode.ANGLES_ALIKE, spoils)]
    return []


def _by_sheet(by_angle: Mapping[Angle, Combined], tilts: Mapping[str, Tilt], rules: OrderRules) -> list[Finding]:
    """Hold every photo that shows the sheet against where its angle is taken from."""
    wrong = [
        (name, angle, tilts[name])
        for angle in Angle
        if angle in by_angle
        for name in by_angle[angle].names
        if name in tilts and not _may_be(angle, tilts[name], rules)
    ]
    straight = next((each for each in wrong if each[1] is Angle.FACE), None)
    low = next((each for each in wrong if each[1] is Angle.FLOP), None)
    if straight and low:
        swapped = angles_swapped((straight[0], low[0]), (Angle.FACE, Angle.FLOP), (straight[2].degrees, low[2].degrees))
        return [swapped, *(miscalled(*each) for each in wrong if each not in (straight, low))]
    return [miscalled(*each) for each in wrong]


def _may_be(angle: Angle, tilt: Tilt, rules: OrderRules) -> bool:
    """Say whether a photo from so far off straight on can show this angle; near the glare both may be."""
    margin = SURE_SD * tilt.sd
    if angle is Angle.FACE:
        return tilt.degrees - margin <= rules.straight_most
    return angle is not Angle.FLOP or tilt.degrees + margin >= rules.low_least
