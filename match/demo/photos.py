"""The demo: four rendered photos of one invented car and colour, each with its marks beside it.

Nothing in it is a real car, shop, maker or paint. The photos are rendered from spectra, so the true difference of each
is known and is written in its note.
"""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

from match import calibration
from match.demo.scene.description import Camera, Gloss, Lamp, Layout, Light, Paint, Rendering, Scene, ToneCurve
from match.demo.scene.encode import encode
from match.demo.scene.render import render
from match.demo.scene.settings import SceneFile
from match.files import Kind, write_new
from match.photo.region_table import region_table
from match.photo.regions import Region
from match.tint.pigment import TonerFile

RECIPE = "harbour slate"
STORY = (
    "Invented demo: a made-up colour called 'Harbour Slate' on a made-up small estate car. The photo is rendered from "
    "paint spectra; no real car, shop, maker or paint is shown."
)
JPEG_QUALITY = 93
SIZE_PX = (1600, 1200)

_BOOTH = Light(
    lamp="D65",
    linear=0.08,
    direction_deg=75.0,
    quadratic=0.04,
    quadratic_centre=(0.45, 0.15),
    vignetting=0.08,
    incidence_deg=35.0,
    shadow_depth=0.5,
)
_CLEAR_COAT = Gloss(
    surroundings=0.10,
    surroundings_slope=(0.02, 0.10),
    lamps=(
        Lamp(at=(0.40, 0.165), half_height_deg=0.5, half_width_deg=12.0, radiance=22.0, bow_deg=0.5),
        Lamp(at=(0.50, 0.130), half_height_deg=4.5, half_width_deg=40.0, radiance=1.4, bow_deg=1.0),
    ),
    orange_peel_deg=0.05,
    dust_per_frame=50,
)
_PHONE = Camera(
    sensor=0,
    sensor_shift_nm=(2.0, -1.0, 1.5),
    matrix_lamp_share=0.7,
    white_balance_error=(0.02, -0.02),
    saturation=1.06,
    exposure_ev=0.15,
    metering=0.4,
    tone=ToneCurve(contrast=1.03, shoulder=0.3, toe=0.04, sigmoid=0.8),
    veiling_glare=0.006,
    full_well_electrons=7000.0,
    read_noise_electrons=3.0,
    blur_px=0.7,
    sharpening=0.35,
)
_DOOR = Layout(
    card_centre=(0.55, 0.41),
    card_angle_deg=-2.0,
    card_tilt_deg=(0.1, 0.2),
    card_follows=0.7,
    grey_centre=(0.235, 0.41),
    grey_size=(0.085, 0.21),
    grey_angle_deg=2.5,
    grey_tilt_deg=(0.5, -0.4),
    panel_edge_y=0.075,
    body_line_y=0.655,
    body_line_deg=7.0,
    gap_x=0.90,
    curvature_deg=(3.0, 8.0),
    field_of_view_deg=36.0,
)
_LAMP_ON_CARD = (
    Lamp(at=(0.57, 0.410), half_height_deg=1.0, half_width_deg=11.0, radiance=32.0, bow_deg=0.8, on_card=True),
    Lamp(at=(0.57, 0.485), half_height_deg=1.0, half_width_deg=11.0, radiance=32.0, bow_deg=0.8, on_card=True),
    Lamp(at=(0.50, 0.130), half_height_deg=4.5, half_width_deg=40.0, radiance=1.4, bow_deg=1.0),
)


@cache
def _scenes() -> dict[str, tuple[Scene, str]]:
    """Return the demo's scenes by file name, with what each is about."""
    formula = calibration.load(SceneFile, "scene").ranges.recipes[RECIPE].formula()
    first = Scene(
        paint=Paint(formula, true_delta_e00=1.9),
        light=_BOOTH,
        gloss=_CLEAR_COAT,
        camera=_PHONE,
        layout=_DOOR,
        greys=(0.04, 0.18, 0.75),
        grey_error=(0.005, 0.004),
        size_px=SIZE_PX,
        seed=11,
    )
    last = replace(
        first,
        paint=replace(first.paint, true_delta_e00=0.35),
        layout=replace(_DOOR, card_angle_deg=1.5, card_centre=(0.56, 0.40), grey_angle_deg=-1.0),
        seed=14,
    )
    wrong = replace(
        first,
        paint=replace(first.paint, true_delta_e00=5.2),
        layout=replace(_DOOR, card_angle_deg=3.0, card_centre=(0.545, 0.405), grey_angle_deg=1.0),
        seed=23,
    )
    spoiled = replace(
        first,
        gloss=replace(_CLEAR_COAT, lamps=_LAMP_ON_CARD),
        camera=replace(_PHONE, metering=0.0, exposure_ev=0.6),
        layout=replace(_DOOR, card_angle_deg=-4.0),
        careless=True,
        seed=31,
    )
    return {
        "1-first-card": (first, "the first card, as the formula says"),
        "2-wrong-variant": (wrong, "a card of another variant of the colour"),
        "3-lamp-on-card": (spoiled, "the first card again, with a lamp mirrored across it"),
        "4-tinted-card": (last, "the card after tinting"),
    }


@cache
def _rendered(name: str) -> Rendering:
    scene, _ = _scenes()[name]
    physics = calibration.load(SceneFile, "scene").physics
    return render(scene, calibration.load(TonerFile, "toners"), physics)


def demo_photo() -> tuple[bytes, tuple[Region, ...]]:
    """Return the first demo photo as JPEG bytes, and its marks in pixels of that photo."""
    rendering = _rendered("1-first-card")
    return encode(rendering, "JPEG", JPEG_QUALITY), rendering.regions


def write_demo(folder: Path) -> tuple[Path, ...]:
    """Write the demo into ``folder``, made if need be: a JPEG and a region file of the same name for each photo.

    Returns
    -------
    tuple of the paths written, each photo followed by its region file
    """
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for name, (scene, about) in _scenes().items():
        rendering = _rendered(name)
        photo, marks = folder / f"{name}.jpg", folder / f"{name}.json"
        _write(photo, encode(rendering, "JPEG", JPEG_QUALITY), "demo photo")
        note = f"{STORY} It shows {about}; the true difference is {rendering.true_delta_e00:.2f} CIEDE2000."
        content = {
            "regions": [region_table(region) for region in rendering.regions],
            "finish": scene.paint.finish,
            "junction": "panel-gap",
            "note": note,
        }
        _write(marks, (json.dumps(content, indent=2) + "\n").encode(), "region file")
        written += [photo, marks]
    return tuple(written)


def _write(path: Path, content: bytes, what: str) -> None:
    """Write one file of the demo, unless it is there already as it is to be."""
    if path.is_file() and path.stat().st_size == len(content) and path.read_bytes() == content:
        return
    write_new(path, content, Kind(what, content), replace=None)
