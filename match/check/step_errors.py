"""What would be left of one photo's errors after a step: the same draws, with what the step takes away left out."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from match.calibration import quantity
from match.colorimetry import Array
from match.measure.light import LightFit, fit_light
from match.measure.measurement import CameraCalibration, Measurement, emptiest
from match.measure.photo_code import PhotoCode
from match.measure.sampling import Sample
from match.measure.tone import GreyTolerance, ToneFit, fit_tone, integrated_knots
from match.measure.uncertainty import CameraErrors, Draws, draw
from match.photo.regions import Kind, Region

BRIGHTEST = -0.05
"""Log decoded level up to which a reference is exposed: brighter ones clip."""


class StepCode(StrEnum):
    """What a person may do next."""

    SAY_MIRRORED = "say-mirrored"
    WHITE_FIELD = "white-field"
    SECOND_CAR_BOX = "second-car-box"
    CAMERA_RAW = "camera-raw"
    LAY_AGAIN = "lay-again"
    SWAP = "swap"
    GREY_STEPS = "grey-steps"
    EVEN_LIGHT = "even-light"


@dataclass(frozen=True)
class Assumed:
    """Table ``assumed`` of ``calibration/next_steps.toml``."""

    light_share: float = quantity("fraction of variance")
    between_scale: float = quantity("CIELAB")
    between_shape: tuple[float, ...] = quantity("fraction of the lightness sd")
    beside_sd: float = quantity("log units")
    even_field_sd: float = quantity("log units per frame")
    dark_step: float = quantity("luminous reflectance")
    light_step: float = quantity("luminous reflectance")
    step_tolerance: float = quantity("fraction")
    white_field: float = quantity("luminous reflectance")
    white_tolerance: float = quantity("fraction")
    white_neutral: float = quantity("log units")
    said_log_sd: float = quantity("log units")
    said_power: float = quantity("1")
    said_share: float = quantity("fraction")


@dataclass(frozen=True)
class PhotoErrors:
    """What a photo's errors come from.

    Attributes
    ----------
    measurement, camera : the photo as measured, and the numbers that it was measured by
    greys : how well each of its greys is known
    here, there : photos so far with the card in its first place, and on the other side of the car's paint
    """

    measurement: Measurement
    camera: CameraCalibration
    greys: tuple[GreyTolerance, ...]
    here: int = 1
    there: int = 0

    @property
    def is_raw(self) -> bool:
        """Whether the tone curve is known for sure."""
        return not self.measurement.tone.covariance.any()

    def drawn(
        self,
        rng: np.random.Generator,
        count: int,
        light: LightFit | None = None,
        tone: ToneFit | None = None,
        greys: tuple[GreyTolerance, ...] | None = None,
        errors: CameraErrors | None = None,
    ) -> Draws:
        """Draw the measurement with some of its parts replaced."""
        m = self.measurement
        empty = np.array([emptiest(m.samples, Kind.CARD), emptiest(m.samples, Kind.VEHICLE)])
        parts = light or m.light, tone or m.tone, greys or self.greys, errors or self.camera.errors
        (drawn,) = draw(*parts, rng, count, empty)
        return drawn


Step = Callable[[PhotoErrors, Assumed, np.random.Generator, int], Draws | None]


def errors_after(
    step: StepCode, photo: PhotoErrors, assumed: Assumed, rng: np.random.Generator, count: int
) -> Draws | None:
    """Return ``count`` draws of the measurement that the step would lead to; None where it is not on offer here.

    The draws lie about the most likely reading that the step's own parts give, as a photo's draws do.
    """
    if photo.here + photo.there > 1 and step not in _OF_SEVERAL:
        return None
    return _STEPS[step](photo, assumed, rng, count)


def one_sided(samples: tuple[Sample, ...] | list[Sample]) -> Sample | None:
    """Return the car's box nearest to the card where all of the car's boxes lie on one side of it, else None."""
    card = next(each.region for each in samples if each.region.kind is Kind.CARD)
    cars = [each for each in samples if each.region.kind is Kind.VEHICLE]
    away = np.array([_middle(each.region) - _middle(card) for each in cars])
    return None if (away @ away.T).min() < 0.0 else cars[int(np.argmin((away**2).sum(axis=1)))]


def _middle(region: Region) -> Array:
    return np.array([region.x + 0.5 * region.width, region.y + 0.5 * region.height])


def _second_car_box(photo: PhotoErrors, assumed: Assumed, rng: np.random.Generator, count: int) -> Draws | None:
    """Fit the light anew with a box that shows what the fit expects on the card's other side."""
    m = photo.measurement
    near = one_sided(m.samples)
    if near is None:
        return None
    card = next(each.region for each in m.samples if each.region.kind is Kind.CARD)
    shift = 2.0 * (_middle(card) - _middle(near.region))
    there = near.position_px + shift
    change = m.light.field_at(there, m.frame_px) - m.light.field_at(near.position_px, m.frame_px)
    moved = replace(near.region, x=near.region.x + round(shift[0]), y=near.region.y + round(shift[1]))
    opposite = replace(near, region=moved, position_px=there, level=near.level * np.exp(change))
    return photo.drawn(rng, count, light=fit_light((*m.samples, opposite), m.frame_px, photo.camera.light))


def _even_light(photo: PhotoErrors, assumed: Assumed, rng: np.random.Generator, count: int) -> Draws | None:
    m, prior = photo.measurement, photo.camera.light
    if not any(found.code is PhotoCode.GRADIENT for found in m.findings):
        return None
    even = tuple(sd for sd in prior.field_sd if sd <= assumed.even_field_sd)
    flat = tuple(sd for sd in prior.own_slope_sd if sd <= assumed.even_field_sd)
    prior = replace(prior, field_sd=even or prior.field_sd[:1], own_slope_sd=flat or prior.own_slope_sd[:1])
    light = fit_light(m.samples, m.frame_px, prior)
    return photo.drawn(rng, count, light=replace(light, mean=m.light.mean))


def _camera_raw(photo: PhotoErrors, assumed: Assumed, rng: np.random.Generator, count: int) -> Draws | None:
    return None if photo.is_raw else photo.drawn(rng, count, tone=photo.measurement.tone.fixed())


def _grey_steps(photo: PhotoErrors, assumed: Assumed, rng: np.random.Generator, count: int) -> Draws | None:
    if photo.is_raw or len(photo.measurement.light.reflectances) > 1:
        return None
    known = GreyTolerance(assumed.step_tolerance)
    return _with_greys(photo, {assumed.dark_step: known, assumed.light_step: known}, assumed, rng, count)


def _white_field(photo: PhotoErrors, assumed: Assumed, rng: np.random.Generator, count: int) -> Draws | None:
    if photo.is_raw or len(photo.measurement.light.reflectances) > 1:
        return None
    known = GreyTolerance(assumed.white_tolerance, assumed.white_neutral)
    return _with_greys(photo, {assumed.white_field: known}, assumed, rng, count)


def _with_greys(
    photo: PhotoErrors,
    more: dict[float, GreyTolerance],
    assumed: Assumed,
    rng: np.random.Generator,
    count: int,
) -> Draws:
    """Put more greys beside the first, at the levels where the tone curve expects them: they tell which step it is."""
    light, tone = photo.measurement.light, photo.measurement.tone
    reflectances = (*light.reflectances, *more)
    light = _beside(light, tone, tuple(more), assumed.beside_sd)
    greys = (*(replace(grey, others=()) for grey in photo.greys), *more.values())
    level_sd = np.sqrt(np.stack([np.diag(c)[2:] for c in light.covariance], axis=-1))
    gain_sd = photo.camera.tone.gain_tolerance
    narrowed = fit_tone(light.mean_log_level[2:], level_sd, reflectances, greys, tone, gain_sd)
    narrowed = replace(narrowed, mean=tone.mean)
    return photo.drawn(rng, count, light=light, tone=narrowed, greys=greys)


def _beside(light: LightFit, tone: ToneFit, more: tuple[float, ...], beside_sd: float) -> LightFit:
    """Return the fit with greys that lie in the light of the first grey, but for a lean of their own."""
    first = 2
    order = [*range(light.mean.shape[1]), *[first] * len(more)]
    covariance = light.covariance[:, order][:, :, order].copy()
    for index in range(len(order) - len(more), len(order)):
        covariance[:, index, index] += beside_sd**2
    level = light.mean_log_level
    ladder = np.linspace(-7.0, 0.0, 400)
    bent = integrated_knots(ladder) @ tone.mean
    steps = []
    for reflectance in more:
        wanted = integrated_knots(level[first]) @ tone.mean + np.log(reflectance / light.reflectances[0])
        steps.append(np.minimum(np.interp(wanted, bent, ladder), BRIGHTEST))
    return light.with_levels(np.vstack([level, *steps]), covariance, (*light.reflectances, *more))


def _say_mirrored(photo: PhotoErrors, assumed: Assumed, rng: np.random.Generator, count: int) -> Draws | None:
    if not any(found.code is PhotoCode.MIRRORS for found in photo.measurement.findings):
        return None
    known = replace(
        photo.camera.errors,
        veil_log_sd=assumed.said_log_sd,
        veil_power=assumed.said_power,
        veil_share=assumed.said_share,
    )
    return photo.drawn(rng, count, errors=known)


def _lay_again(photo: PhotoErrors, assumed: Assumed, rng: np.random.Generator, count: int) -> Draws | None:
    return _laid(photo, photo.here + 1, photo.there, assumed, rng, count)


def _swap(photo: PhotoErrors, assumed: Assumed, rng: np.random.Generator, count: int) -> Draws | None:
    return None if photo.there else _laid(photo, photo.here, 1, assumed, rng, count)


def _laid(photo: PhotoErrors, here: int, there: int, assumed: Assumed, rng: np.random.Generator, count: int) -> Draws:
    """Shrink the null difference by what averages out, and add what the placements themselves differ by."""
    m = photo.measurement
    rows = rng.integers(len(m.draws.card_lab), size=count)
    drawn = m.draws.taken(rows)
    null = drawn.null_difference - drawn.of_pigments
    left = np.sqrt(_left(here, there, assumed.light_share) / _left(photo.here, photo.there, assumed.light_share))
    spread = assumed.between_scale / np.sqrt(here + there) * np.asarray(assumed.between_shape)
    laid = left * null + spread * rng.standard_normal((count, 3))
    return replace(drawn, card_lab=drawn.card_lab - null + laid, null_difference=laid + drawn.of_pigments)


def _left(here: int, there: int, light_share: float) -> float:
    """Return the share of one photo's null variance that so many photos leave: a swap cancels the light's."""
    if here and there:
        return 0.25 * (1.0 - light_share) * (1.0 / here + 1.0 / there)
    return light_share + (1.0 - light_share) / (here + there)


_OF_SEVERAL = (StepCode.LAY_AGAIN, StepCode.SWAP)

_STEPS: dict[StepCode, Step] = {
    StepCode.SAY_MIRRORED: _say_mirrored,
    StepCode.WHITE_FIELD: _white_field,
    StepCode.SECOND_CAR_BOX: _second_car_box,
    StepCode.CAMERA_RAW: _camera_raw,
    StepCode.LAY_AGAIN: _lay_again,
    StepCode.SWAP: _swap,
    StepCode.GREY_STEPS: _grey_steps,
    StepCode.EVEN_LIGHT: _even_light,
}
