"""What can be wrong with one photo, each with its words."""

from match.measure.finding import Code, Finding, Words


def _cast(found: Finding) -> Words:
    return Words(
        "{Region} is far from neutral in the photo." if found.spoils else "{Region} is not neutral in the photo.",
        "Mark the grey card itself, and use white light: a coloured lamp cannot be corrected.",
    )


def _gradient(found: Finding) -> Words:
    return Words(
        "the light changes by {percent:.0f} % across the marks."
        if "percent" in found.values
        else "the light is {times:.1f} times as strong at one end of the marks as at the other.",
        "Turn the panel or the lamp so that card, car and grey get the same light, or mark the car on both sides.",
    )


class PhotoCode(Code):
    """What can be wrong with one photo."""

    FAR_APART = (
        "far-apart",
        "card and car differ by {difference:.0f}, more than a card mixed for this car would.",
        "Look at the marks: one of them may lie on a lamp's reflection, a shadow, bare card or another part.",
    )
    PART_FAR_APART = (
        "part-far-apart",
        "{Region} differs from the card by {difference:.0f}, more than a part painted for this car would.",
        "Look whether it lies on paint: a reflection, a shadow or bare plastic has no colour to meet.",
    )
    MIRRORS = (
        "mirrors",
        "the paint is so dark that what it mirrors can count as much as its own colour.",
        "Hold something black and matt where card and car mirror it, keep walls and the sky out, and say so.",
    )
    LEFT_OUT = (
        "left-out",
        "{Region} is burnt out, black or mirrored, and was left out.",
        "The others of its kind were used; expose so that it can be read too.",
    )
    GREYS_DISAGREE = (
        "greys-disagree",
        "the grey steps do not fit one tone curve.",
        "Check the reflectance given for each grey, wipe them clean, and switch HDR and night mode off.",
    )
    ONE_GREY = (
        "one-grey",
        "with one grey in the frame the camera's contrast is not known, so the difference is known less well.",
        "Put two more grey steps, one lighter and one darker, beside the first.",
    )
    CLIPPED = (
        "clipped",
        "{Region} is burnt out in {percent:.0f} % of its pixels.",
        "Tap the bright part to expose for it, lower the exposure, or turn the lamp's reflection away.",
    )
    NEAR_BLACK = (
        "near-black",
        "{Region} is nearly black in {percent:.0f} % of its pixels.",
        "Bring more light, or raise the exposure as far as the grey allows.",
    )
    BEYOND_FILE = (
        "beyond-file",
        "{Region} is a stronger colour than this photo file can hold: one channel is empty.",
        "Take the photo as HEIC or camera raw (a wide-gamut setting), which hold stronger colours than a JPEG.",
    )
    GLARE = (
        "glare",
        "a reflection covers {percent:.0f} % of {region}.",
        "Move the lamp or yourself until no lamp is mirrored there, or mark a part without it.",
    )
    SMALL = (
        "small",
        "{Region} holds only {width} x {height} pixels.",
        "Go closer, or draw the mark larger.",
    )
    GREY_CAST = "grey-cast", _cast
    GREY_UNEVEN = (
        "grey-uneven",
        "{Region} is lit unevenly, or the mark is not all grey card.",
        "Mark only the grey, lay it flat beside the card and keep your shadow off it.",
    )
    GRADIENT = "gradient", _gradient
    GREY_ON_PAINT = (
        "grey-on-paint",
        "the grey mark reads exactly like the paint.",
        "Look whether it lies on the grey card; the paint itself cannot be its own reference.",
    )
