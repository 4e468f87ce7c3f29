"""How hard the random scenes are, judged by the plain pipeline: all causes together, and each cause alone.

Run: python -m tests.benchmarks.scene_difficulty [scenes] [cause ...]
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from PIL import Image

from match import calibration
from match.demo.scene.description import Camera, Gloss, Light, Scene, ToneCurve
from match.demo.scene.encode import encode
from match.demo.scene.render import render
from match.tint.pigment import TonerFile
from tests.benchmarks.plain_pipeline import plain_delta_e00
from tests.support.random_scene import SceneFile, random_scene

SIZE_PX = (800, 600)


def everything(scene: Scene) -> Scene:
    return scene


def plain_camera(scene: Scene) -> Camera:
    """Return an ideal camera that keeps the scene's noise and blur: without noise, eight bits alone would err."""
    return Camera(
        exposure_ev=-0.3,
        full_well_electrons=scene.camera.full_well_electrons,
        read_noise_electrons=scene.camera.read_noise_electrons,
        blur_px=scene.camera.blur_px,
    )


def uneven_light(scene: Scene) -> Scene:
    """Keep the light's shape, the surface's tilts and shadows; an ideal camera, matte surfaces, one lamp, no flake."""
    light = replace(scene.light, lamp="D65", second_lamp="", second_share=0.0, second_slope=0.0)
    bare = replace(scene, light=light, gloss=Gloss(), camera=plain_camera(scene), grey_error=(0.0, 0.0))
    return replace(bare, paint=replace(scene.paint, finish="solid", flop=0.0, flake_sd=0.0, pearl_strength=0.0))


def even(scene: Scene) -> Scene:
    """Return the scene with no cause of error left but noise, eight bits and JPEG."""
    flat = uneven_light(scene)
    layout = replace(
        scene.layout, curvature_deg=(0.0, 0.0), card_tilt_deg=(0.0, 0.0), grey_tilt_deg=(0.0, 0.0), body_line_deg=0.0
    )
    return replace(flat, light=Light(), layout=layout)


def gloss(scene: Scene) -> Scene:
    return replace(even(scene), gloss=scene.gloss)


def lamps_and_colour(scene: Scene) -> Scene:
    """Keep lamp colours, sensor, matrix, white balance and saturation."""
    light = Light(
        lamp=scene.light.lamp,
        second_lamp=scene.light.second_lamp,
        second_share=scene.light.second_share,
        second_slope=scene.light.second_slope,
    )
    plain = replace(
        scene.camera, tone=ToneCurve(), sharpening=0.0, veiling_glare=0.0, metering=0.0, exposure_ev=-0.3,
        profile="srgb",
    )  # fmt: skip
    return replace(even(scene), light=light, camera=plain, grey_error=scene.grey_error)


def tone_curve(scene: Scene) -> Scene:
    metered = replace(
        plain_camera(scene),
        tone=scene.camera.tone,
        exposure_ev=scene.camera.exposure_ev,
        metering=scene.camera.metering,
    )
    return replace(even(scene), camera=metered)


def veiling_glare(scene: Scene) -> Scene:
    return replace(even(scene), camera=replace(plain_camera(scene), veiling_glare=scene.camera.veiling_glare))


def wide_gamut_file(scene: Scene) -> Scene:
    """Keep the profile, which the plain pipeline does not read."""
    return replace(even(scene), camera=replace(plain_camera(scene), profile=scene.camera.profile))


def flake(scene: Scene) -> Scene:
    return replace(even(scene), paint=scene.paint)


def flake_on_a_curve(scene: Scene) -> Scene:
    return replace(uneven_light(scene), paint=scene.paint)


CAUSES: tuple[Callable[[Scene], Scene], ...] = (
    everything, uneven_light, even, gloss, lamps_and_colour, tone_curve, veiling_glare, wide_gamut_file,
    flake, flake_on_a_curve,
)  # fmt: skip


def main(count: int, only: list[str]) -> None:
    causes = [cause for cause in CAUSES if not only or cause.__name__ in only]
    scene_file, toners = calibration.load(SceneFile, "scene"), calibration.load(TonerFile, "toners")
    errors: dict[str, list[float]] = {cause.__name__: [] for cause in causes}
    truth, finishes = [], []
    for index in range(count):
        scene = random_scene(np.random.default_rng([2024, index]), scene_file.ranges, SIZE_PX)
        for cause in causes:
            rendering = render(cause(scene), toners, scene_file.physics)
            image = np.asarray(Image.open(io.BytesIO(encode(rendering))))
            errors[cause.__name__].append(plain_delta_e00(image, rendering.regions) - rendering.true_delta_e00)
        truth.append(rendering.true_delta_e00)
        finishes.append(scene.paint.finish)
    print(f"{count} scenes, true CIEDE2000 {min(truth):.2f} to {max(truth):.2f}; plain pipeline's |error|:")
    print(f"{'cause':18s} median   p95  worst   mean signed")
    for name, values in errors.items():
        size = np.abs(values)
        print(
            f"{name:18s} {np.median(size):6.2f} {np.percentile(size, 95):5.2f} {size.max():6.2f} "
            f"{np.mean(values):+12.2f}"
        )
    first = errors[causes[0].__name__]
    for finish in sorted(set(finishes)):
        size = np.abs([e for e, f in zip(first, finishes, strict=True) if f == finish])
        summary = f"median {np.median(size):.2f}, p95 {np.percentile(size, 95):.2f}"
        print(f"{finish}, {causes[0].__name__}: {size.size} scenes, {summary}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200, sys.argv[2:])
