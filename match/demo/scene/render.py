"""Render a scene: paints and lamps to camera values, layers on the canvas, then the camera's own rendering.

Each material has one spectrum under each lamp, so spectra are summed once a material and pixels only mix the results.
Left out: the sensor's colour mosaic, a phone's local tone mapping, and light that materials throw on each other.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from match.colorimetry import Array
from match.demo.scene import layout as lay
from match.demo.scene import surface
from match.demo.scene.camera import rendering_matrix, response_weights
from match.demo.scene.canvas import WHOLE, Canvas, Material, cover_of
from match.demo.scene.description import Camera, Rendering, Scene
from match.demo.scene.layout import Frame, frame_of
from match.demo.scene.paint import PaintPair, interference, paint_pair
from match.demo.scene.settings import ScenePhysics
from match.demo.scene.tone import MID_GREY, mid_grey_exposure, quantised
from match.tint.pigment import WAVELENGTHS_NM, TonerFile, toner_set

Pixels = NDArray[np.float32]


BRIGHTEST = 0.92
"""Share of full scale at which a metered exposure keeps the brightest fiftieth of the frame."""


@dataclass(frozen=True, eq=False)
class Capture:
    """What reaches the sensor.

    Attributes
    ----------
    raw : (h, w, 3) camera values, green 1 for a perfect white in the scene's light at the centre; no noise yet
    white : (3,) values of that perfect white
    material : (h, w) see :class:`match.demo.scene.canvas.Material`
    highlight : (h, w) what mirrored lamps add, relative to the perfect white
    paints : spectra and true colours
    """

    raw: Pixels
    white: Array
    material: NDArray[np.uint8]
    highlight: Pixels
    paints: PaintPair


def render(scene: Scene, toners: TonerFile, physics: ScenePhysics) -> Rendering:
    """Render a photograph; the same scene gives the same picture, bit for bit.

    Parameters
    ----------
    scene : what is shown and how it is taken
    toners : ``calibration/toners.toml``
    physics : the physics part of ``calibration/scene.toml``
    """
    capture = captured(scene, toners, physics)
    image = developed(capture, scene.camera, scene.light.lamp, np.random.default_rng([scene.seed, 3]))
    return Rendering(
        image=image[:, ::-1].copy() if scene.layout.mirrored else image,
        regions=lay.regions(scene, capture.highlight),
        card_lab=capture.paints.card_lab,
        vehicle_lab=capture.paints.vehicle_lab,
        true_delta_e00=capture.paints.true_delta_e00,
        profile=scene.camera.profile,
        more_true_delta_e00=capture.paints.more_true_delta_e00,
    )


def captured(scene: Scene, toners: TonerFile, physics: ScenePhysics) -> Capture:
    """Return the light on the sensor, before noise and rendering, and before the picture is mirrored."""
    rng = np.random.default_rng([scene.seed, 1])
    paints = paint_pair(scene.paint, toner_set(toners), toners.optics, physics, np.random.default_rng([scene.seed, 2]))
    frame = frame_of(scene.size_px)
    lamps = (scene.light.lamp, scene.light.second_lamp) if scene.light.second_lamp else (scene.light.lamp,)
    seen = _Seen(tuple(response_weights(scene.camera, lamp) for lamp in lamps))
    canvas = _laid_out(scene, paints, seen, physics, frame, rng)
    return _lit(scene, canvas, seen, paints, physics, rng)


@dataclass(frozen=True, eq=False)
class _Seen:
    """The camera's weights (31, 3) for each lamp."""

    weights: tuple[Array, ...]

    def __call__(self, reflectance: Array) -> Pixels:
        """Return camera values (lamps, 3) of a reflectance (31,)."""
        return np.array([reflectance @ weights for weights in self.weights], dtype=np.float32)


def _laid_out(
    scene: Scene, paints: PaintPair, seen: _Seen, physics: ScenePhysics, frame: Frame, rng: np.random.Generator
) -> Canvas:
    canvas = Canvas(frame, len(seen.weights))
    matte = {name: seen(material.reflectance()) for name, material in physics.materials.items()}
    band = seen(scene.paint.pearl_strength * interference(scene.paint.view_angle_deg, physics))

    def painted(spectrum: Array, flop: float, part: Frame, tilt: surface.Tilt) -> Pixels:
        if scene.paint.finish == "solid":
            return seen(spectrum)
        angle = surface.aspecular_angle(scene, part, tilt)
        return surface.flake_body(seen(spectrum), band, scene.paint, flop, angle, physics)

    flake = float(scene.paint.finish != "solid")
    tilt = lay.panel_tilt(scene.layout, frame)
    body = painted(paints.vehicle, scene.paint.flop, frame, tilt)
    canvas.lay(WHOLE, np.ones_like(canvas.light), body, tilt, Material.VEHICLE, 1.0, flake)
    _lay_gap(canvas, scene, matte["shadow gap"])
    _lay_masking(canvas, scene, matte, rng)
    _lay_shadows(canvas, scene)
    for layout, spectrum in zip(scene.layout.of_cards(), (paints.card, *paints.more), strict=True):
        _lay_card(canvas, replace(scene, layout=layout), spectrum, painted, matte)
    _lay_grey(canvas, scene, seen, matte)
    _lay_dust(canvas, scene, matte["dust"], rng)
    return canvas


def _lay_gap(canvas: Canvas, scene: Scene, dark: Pixels) -> None:
    """Lay the gap to the next panel, dark and a few millimetres wide."""
    if scene.layout.gap_x > 1:
        return
    distance = np.abs(canvas.frame.x - lay.gap_line(scene.layout, canvas.frame))
    cover = np.clip(0.5 - (distance - np.float32(0.0032)) * np.float32(canvas.frame.width_px / 1.5), 0, 1)
    canvas.lay(WHOLE, cover, dark, None, Material.GAP)
    canvas.light *= 1 - 0.30 * np.exp(-np.square(distance / np.float32(0.005)))


def _lay_masking(canvas: Canvas, scene: Scene, matte: Mapping[str, Pixels], rng: np.random.Generator) -> None:
    """Lay masking paper, and the tape that holds it, above the panel's edge."""
    if scene.layout.panel_edge_y < 0:
        return
    frame = canvas.frame
    below_edge = frame.y - lay.panel_edge(scene.layout, frame.x)
    rows = slice(0, int((scene.layout.panel_edge_y + 0.08) * frame.width_px))
    window = (rows, slice(None))
    tape_width = np.float32(0.030) + 0.0006 * surface.smooth_noise(rng, frame, 0.05)[rows]
    crumple = surface.creases(rng, frame, 0.16)[rows] + 0.4 * surface.smooth_noise(rng, frame, 0.2)[rows]
    fine = surface.smooth_noise(rng, frame, 0.004)[rows]
    tape = np.clip(0.5 - below_edge[rows] * np.float32(frame.width_px), 0, 1)
    paper = np.clip(0.5 - (below_edge[rows] + tape_width) * np.float32(frame.width_px), 0, 1)
    canvas.lay(window, tape, matte["tape"], (0.0, 0.0), Material.MASKING)
    canvas.lay(window, paper, matte["paper"], (0.0, 0.0), Material.MASKING)
    canvas.light[window] += tape * (1 - canvas.light[window])
    canvas.light[window] *= 1 + tape * (0.02 * fine) + paper * (0.10 * crumple)
    lip = np.exp(-np.square((below_edge[rows] + tape_width) / np.float32(0.0012)))
    canvas.light[window] *= 1 - 0.35 * lip * (1 - paper) * tape


def _lay_shadows(canvas: Canvas, scene: Scene) -> None:
    """Darken what lies around card and grey: a contact shadow, and a thin cast one away from the light."""
    right, up = surface.direction(scene.light)
    depth = scene.light.shadow_depth
    cards = [(lay.card_rectangle(layout), 0.005) for layout in scene.layout.of_cards()]
    for rectangle, height in (*cards, (lay.grey_rectangle(scene.layout), 0.008)):
        canvas.shade(rectangle, 0.45 * depth, 0.006)
        canvas.shade(rectangle.moved(-right * height, up * height), depth, 0.0045)


def _lay_card(
    canvas: Canvas,
    scene: Scene,
    spectrum: Array,
    painted: Callable[[Array, float, Frame, surface.Tilt], Pixels],
    matte: Mapping[str, Pixels],
) -> None:
    """Lay the card: white board, an unsprayed tab with a hiding chequer, and the sprayed part."""
    frame, card = canvas.frame, lay.card_rectangle(scene.layout)
    window = card.window(frame, 2 / frame.width_px)
    part = frame.part(window)
    tilt = lay.card_tilt(scene.layout, part)
    canvas.light[window] += cover_of(card, frame, window) * (1 - canvas.light[window])
    canvas.lay(window, cover_of(card, frame, window), matte["board"], tilt, Material.TAB)
    rows, columns = 2, 14
    for index in range(rows * columns):
        row, column = divmod(index, columns)
        if (row + column) % 2:
            continue
        top = lay.TAB_SHARE * (0.5 + 0.25 * row)
        square = card.part(column / columns, (column + 1) / columns, top, top + 0.25 * lay.TAB_SHARE)
        canvas.lay_rectangle(square, matte["ink"], Material.TAB)
    edge = 0.0011 / scene.layout.card_size[0]
    sprayed = lay.painted_part(scene.layout).part(edge, 1 - edge, 0.0, 1 - edge)
    body = painted(spectrum, scene.paint.flop * scene.paint.card_flop_ratio, part, tilt)
    flake = float(scene.paint.finish != "solid")
    canvas.lay(window, cover_of(sprayed, frame, window), body, tilt, Material.CARD, 1.0, flake)


def _lay_grey(canvas: Canvas, scene: Scene, seen: _Seen, matte: Mapping[str, Pixels]) -> None:
    """Lay the grey reference: matte, its reflectance off by the scene's error."""
    frame, board = canvas.frame, lay.grey_rectangle(scene.layout)
    window = board.window(frame, 2 / frame.width_px)
    tilt = lay.grey_tilt(scene.layout, frame.part(window))
    cover = cover_of(board, frame, window)
    canvas.light[window] += cover * (1 - canvas.light[window])
    canvas.lay(window, cover, matte["grey board"], tilt, Material.GREY_BOARD)
    shared, slope = scene.grey_error
    error = 1 + shared + slope * (WAVELENGTHS_NM - 550) / 300
    for index, (patch, nominal) in enumerate(
        zip(lay.grey_patches(scene.layout, len(scene.greys)), scene.greys, strict=True)
    ):
        canvas.lay_rectangle(patch, seen(nominal * error), Material.GREY + index)


def _lay_dust(canvas: Canvas, scene: Scene, dust: Pixels, rng: np.random.Generator) -> None:
    """Scatter specks of dust: small, soft, lighter than a dark paint."""
    frame = canvas.frame
    places = rng.uniform((0, 0), (1, 2 * frame.middle_y), (scene.gloss.dust_per_frame, 2))
    for (x, y), size, strength in zip(
        places,
        rng.uniform(0.0002, 0.0008, len(places)),
        0.05 + 0.55 * rng.random(len(places)) ** 2,
        strict=True,
    ):
        speck = lay.Rectangle((x, y), (size, size), 45.0)
        window = speck.window(frame, 0.002)
        distance = speck.distance(frame, window)
        cover = np.float32(strength) * np.exp(-np.square(np.maximum(distance, 0) / np.float32(0.0005)))
        for lamp_body, lamp_dust in zip(canvas.body, dust, strict=True):
            lamp_body[window] += cover[..., None] * (lamp_dust - lamp_body[window])


def _lit(
    scene: Scene,
    canvas: Canvas,
    seen: _Seen,
    paints: PaintPair,
    physics: ScenePhysics,
    rng: np.random.Generator,
) -> Capture:
    """Light the canvas and add what its clear coat mirrors."""
    frame, light, gloss = canvas.frame, scene.light, scene.gloss
    tilt = (canvas.tilt_x, canvas.tilt_y)
    field = surface.light_field(light, frame)
    shaded = field * surface.shading(light, tilt) * canvas.light
    if scene.paint.finish != "solid" and scene.paint.flake_sd > 0:
        shaded *= 1 + canvas.flake * (surface.flake_texture(rng, scene.paint, frame) - 1)
    shares = [np.ones((1, 1), dtype=np.float32)]
    whites = [weights.sum(axis=0) for weights in seen.weights]
    if light.second_lamp:
        second = surface.second_share(light, frame)
        shares = [1 - second, second]
    raw = sum((shaded * share)[..., None] * body for share, body in zip(shares, canvas.body, strict=True))
    centre = [float(share[0, share.shape[1] // 2]) for share in shares]
    white = np.asarray(sum(share * value for share, value in zip(centre, whites, strict=True)))

    mirrored = surface.mirrored_direction(scene.layout, frame, tilt)
    if gloss.orange_peel_deg > 0:
        mirrored = (
            mirrored[0] + surface.ripple(rng, frame, gloss.orange_peel_deg, physics),
            mirrored[1] + surface.ripple(rng, frame, gloss.orange_peel_deg, physics),
        )
    coat = np.float32(physics.fresnel) * canvas.gloss * canvas.light
    highlight = np.asarray(coat * surface.mirrored_lamps(scene, frame, mirrored))
    around = response_weights(scene.camera, gloss.surroundings_lamp or light.lamp).sum(axis=0).astype(np.float32)
    raw += (coat * surface.surroundings(gloss, mirrored))[..., None] * around
    raw += highlight[..., None] * white.astype(np.float32)
    return Capture(np.asarray(raw, dtype=np.float32), white, canvas.material, highlight, paints)


def developed(
    capture: Capture, camera: Camera, lamp: str, rng: np.random.Generator
) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Return the encoded picture (h, w, 3) that the camera makes of what reached its sensor."""
    scale = capture.raw.shape[1] / 1600
    raw = capture.raw
    if camera.blur_px > 0:
        raw = np.asarray(cv2.GaussianBlur(raw, (0, 0), camera.blur_px * scale), dtype=np.float32)
    if camera.veiling_glare > 0:
        raw = raw + np.float32(camera.veiling_glare) * raw.mean(axis=(0, 1))
    gain = exposure_gain(raw[::8, ::8, 1] / np.float32(capture.white[1]), camera)
    raw = raw * np.float32(gain)
    if camera.full_well_electrons > 0:
        raw = _noisy(raw, camera, rng)
    matrix = rendering_matrix(camera, lamp)
    to_display = matrix @ np.diag(white_balance_gains(matrix, camera) / capture.white)
    linear = np.asarray(cv2.transform(raw, to_display.astype(np.float32)), dtype=np.float32)
    if camera.sharpening > 0:
        soft = cv2.GaussianBlur(linear, (0, 0), max(1.2 * scale, 0.6))
        linear = np.asarray(linear + np.float32(camera.sharpening) * (linear - soft), dtype=np.float32)
    return quantised(linear, camera.tone, camera.bits)


def white_balance_gains(matrix: Array, camera: Camera) -> Array:
    """Return the sensor gains (3,), relative to the right ones, that make a grey come out of the matrix with the error.

    A camera balances its sensor's values, before the matrix; so the picture of a grey has just the stated error, and
    other colours theirs.
    """
    red, blue = camera.white_balance_error
    return np.asarray(np.linalg.solve(matrix, np.array([1 + red, 1.0, 1 + blue])))


def exposure_gain(green: Pixels, camera: Camera) -> float:
    """Return the exposure: part of the way from a perfect white at full scale to mid grey for the frame's mean.

    A metered exposure is held back where it would clip more than a fiftieth of the frame. ``green`` holds the
    frame's green values (any shape), 1 for the perfect white.
    """
    gain = 2.0**camera.exposure_ev * mid_grey_exposure(camera.tone)
    if camera.metering <= 0:
        return float(gain)
    gain *= (MID_GREY / float(green.mean())) ** camera.metering
    return float(min(gain, BRIGHTEST / float(np.percentile(green, 98))))


def _noisy(raw: Pixels, camera: Camera, rng: np.random.Generator) -> Pixels:
    """Add photon and read noise, and clip at full scale: variance = signal / full well + (read / full well)^2."""
    clipped = np.clip(raw, 0, None)
    spread = np.sqrt(
        clipped / np.float32(camera.full_well_electrons)
        + np.float32((camera.read_noise_electrons / camera.full_well_electrons) ** 2)
    )
    return np.asarray(clipped + spread * rng.standard_normal(raw.shape, dtype=np.float32), dtype=np.float32)
