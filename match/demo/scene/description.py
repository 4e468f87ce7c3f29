"""What an invented photograph shows and how it was taken: plain descriptions, no arithmetic.

Lengths are in frame widths: x runs 0..1 from left to right, y from 0 at the top to height/width at the bottom. Tilts
are degrees away from the plane of the frame's centre, positive to the right (x) and towards the top (y).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from match.photo.regions import Region

Finish = Literal["solid", "metallic", "pearl"]
Profile = Literal["srgb", "display-p3"]

COLORIMETRIC_SENSOR = -1
"""Stands for a camera whose sensitivities are the CIE 1931 2 degree colour-matching functions."""


@dataclass(frozen=True)
class Paint:
    """The vehicle's paint and the card's.

    Attributes
    ----------
    formula : toner names of ``calibration/toners.toml`` with parts by weight: the vehicle's
    true_delta_e00 : CIEDE2000 between card and vehicle that is asked for, at the view angle, >= 0; a card of other
        toners that cannot come so near comes as near as it can
    card_toners : when given, the card is mixed from these other toners (a metameric pair)
    finish : solid, metallic or pearl
    flop : how steeply lightness falls with the aspecular angle (``match.demo.scene.paint.flop_factor``), 0 for a solid
    card_flop_ratio : the card's flop divided by the vehicle's (gun technique); 1 for the same
    flake_sd : standard deviation of the logarithm of a flake cluster's brightness
    flake_px : width of a cluster in pixels of a frame 1600 wide
    pearl_strength : peak reflectance that the interference band adds at the face angle
    view_angle_deg : aspecular angle at the centre of the frame; 45 is the face
    more_delta_e00 : the same as ``true_delta_e00`` for each card beside the first, off in directions of their own
    """

    formula: tuple[tuple[str, float], ...]
    true_delta_e00: float = 1.0
    card_toners: tuple[str, ...] = ()
    finish: Finish = "solid"
    flop: float = 0.0
    card_flop_ratio: float = 1.0
    flake_sd: float = 0.0
    flake_px: float = 1.6
    pearl_strength: float = 0.0
    view_angle_deg: float = 45.0
    more_delta_e00: tuple[float, ...] = ()


@dataclass(frozen=True)
class Light:
    """The lamps and how their light lies across the frame.

    Attributes
    ----------
    lamp, second_lamp : names of published spectral distributions in colour-science
    second_share : share of the light at the centre that comes from the second lamp, 0..1
    second_slope : change of that share across the frame's width
    linear : relative change of light across the frame's width, along ``direction_deg``
    direction_deg : where the light is strongest: 0 right, 90 top
    quadratic : relative fall of light at half a frame width from the brightest place
    quadratic_centre : that place (x, y) in frame widths
    vignetting : relative fall at the corners, by the lens
    incidence_deg : angle between the light and the panel's normal at the centre; decides how curvature shades
    shadow_depth : share of the light that a shadow takes away
    """

    lamp: str = "D65"
    second_lamp: str = ""
    second_share: float = 0.0
    second_slope: float = 0.0
    linear: float = 0.0
    direction_deg: float = 110.0
    quadratic: float = 0.0
    quadratic_centre: tuple[float, float] = (0.5, 0.3)
    vignetting: float = 0.0
    incidence_deg: float = 0.0
    shadow_depth: float = 0.0


@dataclass(frozen=True)
class Lamp:
    """A lamp, window or tube that the clear coat mirrors.

    Attributes
    ----------
    at : place (x, y) in frame widths where it is seen mirrored
    on_card : mirrored at that place by the card; otherwise by the panel
    half_height_deg, half_width_deg : half its size, as the angle it fills in the mirror
    radiance : relative to a perfect white lying in the scene's light
    bow_deg : how far the mirrored lamp bends downwards 15 degrees to either side, by the panel's crown
    """

    at: tuple[float, float]
    half_height_deg: float
    half_width_deg: float
    radiance: float
    bow_deg: float = 0.0
    on_card: bool = False


@dataclass(frozen=True)
class Gloss:
    """What the clear coat mirrors, and what lies on it.

    Attributes
    ----------
    surroundings : radiance of the mirrored surroundings at the centre, relative to a white in the scene's light
    surroundings_slope : change of that radiance per 30 degrees, to the right and towards the top
    surroundings_lamp : name of the lamp whose colour the surroundings have; empty for the scene's own
    lamps : mirrored lamps
    orange_peel_deg : standard deviation of the clear coat's ripple
    dust_per_frame : number of specks
    """

    surroundings: float = 0.0
    surroundings_slope: tuple[float, float] = (0.0, 0.0)
    surroundings_lamp: str = ""
    lamps: tuple[Lamp, ...] = ()
    orange_peel_deg: float = 0.0
    dust_per_frame: int = 0


@dataclass(frozen=True)
class ToneCurve:
    """How a camera departs from the plain encoding curve; all at rest is exactly that curve.

    ``contrast`` and ``shoulder`` and ``toe`` act on linear light, ``sigmoid`` on the encoded value; the formulas are in
    ``match.demo.scene.tone``.
    """

    contrast: float = 1.0
    shoulder: float = 0.0
    toe: float = 0.0
    sigmoid: float = 0.0


@dataclass(frozen=True)
class Camera:
    """The camera and its rendering.

    Attributes
    ----------
    sensor : index into colour-science's measured camera sensitivities, or :data:`COLORIMETRIC_SENSOR`
    sensor_shift_nm : shift of the R, G, B sensitivities
    sensor_blur_nm : standard deviation of a Gaussian that widens them
    matrix_lamp_share : 0 for a colour matrix made under D65, 1 under the scene's own lamp, between for a mix
    white_balance_error : relative errors of red and blue that a wrong balance gives the picture of a grey
    saturation : 1 leaves the matrix as it is; 1.1 moves every colour 10 % away from grey, in linear light
    exposure_ev : correction in stops
    metering : 0 maps a perfect white to full scale; 1 brings the frame's mean to mid grey; phones go part of the way
    tone : tone curve
    veiling_glare : share of the frame's mean light that the lens spreads over everything
    full_well_electrons : electrons at full scale; 0 switches noise off
    read_noise_electrons : standard deviation at no light
    blur_px, sharpening : lens blur and what the camera adds back, in pixels of a frame 1600 wide and as a factor
    profile, bits : encoding of the file, 8 or 16 bits
    """

    sensor: int = COLORIMETRIC_SENSOR
    sensor_shift_nm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    sensor_blur_nm: float = 0.0
    matrix_lamp_share: float = 0.0
    white_balance_error: tuple[float, float] = (0.0, 0.0)
    saturation: float = 1.0
    exposure_ev: float = 0.0
    metering: float = 0.0
    tone: ToneCurve = field(default_factory=ToneCurve)
    veiling_glare: float = 0.0
    full_well_electrons: float = 0.0
    read_noise_electrons: float = 0.0
    blur_px: float = 0.0
    sharpening: float = 0.0
    profile: Profile = "srgb"
    bits: Literal[8, 16] = 8


@dataclass(frozen=True)
class CardPlace:
    """Where one more card lies: its centre in frame widths, its turn and its lean against the panel (x, y)."""

    centre: tuple[float, float]
    angle_deg: float = 0.0
    tilt_deg: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Layout:
    """Where things lie, in frame widths.

    Attributes
    ----------
    card_centre, card_size, card_angle_deg : the card, its unpainted tab included
    card_tilt_deg : how the card leans against the panel (x, y), a card that does not lie flat
    card_follows : 1 for a card that takes the panel's curvature, 0 for a rigid one
    grey_centre, grey_size, grey_angle_deg : the grey reference
    grey_tilt_deg : how the grey leans against the panel (x, y)
    mirrored : puts everything left-right reversed
    panel_edge_y : where the panel ends towards the top and masking begins; below 0 for none
    body_line_y : height of the body line; above the frame's height for none
    body_line_deg : how far the panel turns away below the body line
    gap_x : place of the gap to the next panel; above 1 for none
    curvature_deg : change of the panel's tilt over one frame width (x, y)
    field_of_view_deg : angle the frame's width fills, seen from the camera
    more_cards : where the cards beside the first lie, all of its size; one for each of ``Paint.more_delta_e00``
    """

    card_centre: tuple[float, float] = (0.55, 0.40)
    card_size: tuple[float, float] = (0.20, 0.28)
    card_angle_deg: float = 0.0
    card_tilt_deg: tuple[float, float] = (0.0, 0.0)
    card_follows: float = 1.0
    grey_centre: tuple[float, float] = (0.25, 0.40)
    grey_size: tuple[float, float] = (0.12, 0.16)
    grey_angle_deg: float = 0.0
    grey_tilt_deg: tuple[float, float] = (0.0, 0.0)
    mirrored: bool = False
    panel_edge_y: float = 0.10
    body_line_y: float = 0.66
    body_line_deg: float = 0.0
    gap_x: float = 0.90
    curvature_deg: tuple[float, float] = (0.0, 0.0)
    field_of_view_deg: float = 40.0
    more_cards: tuple[CardPlace, ...] = ()

    def of_cards(self) -> tuple[Layout, ...]:
        """Return a layout for each card in turn, which has that card in the place of the first."""
        return (
            self,
            *(
                replace(self, card_centre=card.centre, card_angle_deg=card.angle_deg, card_tilt_deg=card.tilt_deg)
                for card in self.more_cards
            ),
        )


@dataclass(frozen=True)
class Scene:
    """One photograph to be rendered; the defaults are an ideal one.

    Attributes
    ----------
    paint, light, gloss, camera, layout : see each class
    greys : nominal luminous reflectances of the grey reference's patches, darkest first or in any order; 1 or more
    grey_error : relative error of the greys' true reflectance at 400 and 700 nm: a shared error and a slope
    careless : mark the regions where the mirrored lamps are, instead of clear of them
    size_px : width and height
    seed : of everything random in the picture: the card's direction, ripple, flake, noise
    """

    paint: Paint
    light: Light = field(default_factory=Light)
    gloss: Gloss = field(default_factory=Gloss)
    camera: Camera = field(default_factory=Camera)
    layout: Layout = field(default_factory=Layout)
    greys: tuple[float, ...] = (0.18,)
    grey_error: tuple[float, float] = (0.0, 0.0)
    careless: bool = False
    size_px: tuple[int, int] = (1600, 1200)
    seed: int = 0


@dataclass(frozen=True, eq=False)
class Rendering:
    """A rendered photograph with what a careful person would mark on it, and the truth.

    Attributes
    ----------
    image : (h, w, 3) uint8 or uint16, encoded in ``profile``
    regions : grey patches with their nominal reflectance, the card, the vehicle on both sides of it
    card_lab, vehicle_lab : (3,) CIELAB, D65 and 2 degrees, gloss excluded, at the scene's view angle
    true_delta_e00 : CIEDE2000 between them
    more_true_delta_e00 : the same of each card beside the first; with several, cards are labelled A, B, ... in order
    """

    image: NDArray[np.uint8] | NDArray[np.uint16]
    regions: tuple[Region, ...]
    card_lab: NDArray[np.float64]
    vehicle_lab: NDArray[np.float64]
    true_delta_e00: float
    profile: Profile
    more_true_delta_e00: tuple[float, ...] = ()
