"""Whether a match made in daylight holds in lamp light: the CIE special metamerism index, change of illuminant.

CIE 15 and ISO 18314-4: the sample's XYZ under the test light is multiplied by standard / sample under the reference
light, so that what is left of the difference is metamerism alone; the index is the colour difference under the test
light. The sum is colour-science's.
"""

from dataclasses import dataclass

from numpy.typing import ArrayLike

from match.colorimetry import colour_science
from match.record import Record
from match.tint.viewing import viewing, xyz_from_reflectance

LIGHTS = {"A": "filament lamp (CIE A)", "FL11": "narrow-band fluorescent lamp (CIE FL11)"}


@dataclass(frozen=True)
class LampShift(Record):
    """The index under one lamp.

    Attributes
    ----------
    illuminant : CIE name of the lamp
    words : the lamp in words
    index : special metamerism index against D65, CIEDE2000, 2 degrees
    """

    illuminant: str
    words: str
    index: float


def metamerism_index(sample: ArrayLike, standard: ArrayLike, illuminant: str) -> float:
    """Return the special metamerism index, CIEDE2000, of two reflectance spectra (31,) for a change from D65.

    Parameters
    ----------
    sample, standard : (31,) reflectance 0..1
    illuminant : CIE name of the test light
    """
    test, first = viewing(illuminant), viewing()
    sample_test, standard_test = xyz_from_reflectance(sample, test) / 100, xyz_from_reflectance(standard, test) / 100
    sample_first, standard_first = (xyz_from_reflectance(spectrum, first) / 100 for spectrum in (sample, standard))
    index = colour_science().difference.XYZ_to_metamerism_index(
        sample_test,
        standard_test,
        sample_first,
        standard_first,
        correction="Multiplicative",
        method="CIE 2000",
        illuminant=test.white[:2] / test.white.sum(),
    )
    return float(index)


def lamp_shifts(sample: ArrayLike, standard: ArrayLike) -> tuple[LampShift, ...]:
    """Return the index of two spectra under each of :data:`LIGHTS`."""
    return tuple(LampShift(name, words, metamerism_index(sample, standard, name)) for name, words in LIGHTS.items())
