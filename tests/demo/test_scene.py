"""The invented photographs against what is known without them: published spectra, CIE colours, and physics' own rules.

Sources beside each check. Chart, lamp and sensor spectra are the published ones that colour-science carries.
"""

from __future__ import annotations

import io
import json
import warnings
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from PIL import Image, ImageCms

from match import calibration
from match.cli import main
from match.colorimetry import colour_science
from match.demo.photos import demo_photo, write_demo
from match.demo.scene.camera import (
    chart_colours,
    chart_reflectances,
    colour_matrix,
    lamp_power,
    rendering_matrix,
    response_weights,
    sensitivities,
)
from match.demo.scene.canvas import Material
from match.demo.scene.description import (
    COLORIMETRIC_SENSOR,
    Camera,
    Gloss,
    Lamp,
    Layout,
    Light,
    Paint,
    Rendering,
    Scene,
    ToneCurve,
)
from match.demo.scene.encode import encode, icc_profile
from match.demo.scene.paint import flop_factor, paint_pair
from match.demo.scene.render import captured, exposure_gain, render, white_balance_gains
from match.demo.scene.tone import encode_srgb, encoded, mid_grey_exposure, quantised
from match.errors import MatchError
from match.photo.regions import Kind, Region, check_regions
from match.tint.pigment import WAVELENGTHS_NM, TonerFile, toner_set
from match.tint.viewing import lab_from_reflectance
from tests.support.random_scene import SceneFile, random_scene

SMALL = (400, 300)
SLATE = (("white", 60.0), ("black", 9.0), ("red-shade blue", 8.0), ("oxide red", 2.0))
PHONE_CURVE = ToneCurve(contrast=1.08, shoulder=0.5, toe=0.1, sigmoid=1.5)


@cache
def scene_file() -> SceneFile:
    return calibration.load(SceneFile, "scene")


@cache
def toner_file() -> TonerFile:
    return calibration.load(TonerFile, "toners")


def rendered(scene: Scene) -> Rendering:
    return render(scene, toner_file(), scene_file().physics)


def plain_scene(**changes: object) -> Scene:
    """An ideal photo: even D65 light, matte, flat, a camera that sees as the CIE's standard observer does."""
    scene = Scene(Paint(SLATE, 2.0), layout=Layout(body_line_deg=0.0), size_px=SMALL, seed=5)
    return replace(scene, **changes)


def linear_mean(rendering: Rendering, region: Region) -> np.ndarray:
    """Mean linear light of a region, by the inverse of IEC 61966-2-1's curve as colour-science carries it."""
    pixels = rendering.image[region.y : region.y + region.height, region.x : region.x + region.width]
    full = np.iinfo(rendering.image.dtype).max
    return colour_science().models.eotf_sRGB(pixels.reshape(-1, 3) / full).mean(axis=0)


def lab_of(linear_srgb: np.ndarray) -> np.ndarray:
    """CIELAB by colour-science from linear sRGB, D65."""
    colour = colour_science()
    return colour.XYZ_to_Lab(colour.RGB_to_XYZ(linear_srgb, "sRGB"), colour.CCS_ILLUMINANTS["cie_2_1931"]["D65"])


def regions_of(rendering: Rendering, kind: Kind) -> list[Region]:
    return [region for region in rendering.regions if region.kind is kind]


# Light, sensor and matrix against published spectra


def test_an_observer_camera_gives_the_charts_published_colours() -> None:
    # Reference: colour-science's own integration (ASTM E308) of the ISO 17321-1 spectra, 2 degree observer, D65.
    colour = colour_science()
    patches = colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that it aligns the spectra
        xyz = np.array([colour.sd_to_XYZ(patch, illuminant=colour.SDS_ILLUMINANTS["D65"]) / 100 for patch in patches])
    expected = colour.XYZ_to_RGB(xyz, "sRGB")
    # 31 bands joined by straight lines against 5 nm data: a few thousandths of the white.
    assert_allclose(chart_colours("srgb"), expected, atol=0.004)


@pytest.mark.parametrize("lamp", ["D65", "D50", "A", "FL2", "FL11", "LED-B3"])
@pytest.mark.parametrize("sensor", [0, 1, COLORIMETRIC_SENSOR])
def test_the_charts_neutral_row_stays_neutral(sensor: int, lamp: str) -> None:
    # Reference: the last six patches of the published chart are neutral. "Neutral" there is within a few per cent: the
    # patches' own spectra differ from flat by as much, and each lamp weighs that differently.
    camera = Camera(sensor=sensor)
    weights = response_weights(camera, lamp)
    balanced = chart_reflectances() @ (weights / weights.sum(axis=0))
    neutral = (balanced @ colour_matrix(camera, lamp).T)[18:]
    assert_allclose(neutral / neutral.mean(axis=1, keepdims=True), 1.0, atol=0.06)


@given(
    shift=st.tuples(*[st.floats(-6, 6)] * 3),
    blur=st.floats(0, 10),
    share=st.floats(0, 1),
    saturation=st.floats(0.8, 1.4),
)
@settings(max_examples=10)
def test_a_perfect_white_is_white_through_every_camera(
    shift: tuple[float, float, float], blur: float, share: float, saturation: float
) -> None:
    camera = Camera(
        sensor=0, sensor_shift_nm=shift, sensor_blur_nm=blur, matrix_lamp_share=share, saturation=saturation
    )
    assert_allclose(rendering_matrix(camera, "FL2") @ np.ones(3), 1.0, atol=1e-12)
    assert np.all(sensitivities(camera) >= 0)


def test_a_shift_moves_a_sensitivitys_peak_by_as_much() -> None:
    plain, moved = sensitivities(Camera(sensor=0)), sensitivities(Camera(sensor=0, sensor_shift_nm=(5.0, -5.0, 0.0)))
    assert_array_equal(moved.argmax(axis=0) - plain.argmax(axis=0), [5, -5, 0])


def test_widening_keeps_a_sensitivitys_area() -> None:
    plain, widened = sensitivities(Camera(sensor=0)), sensitivities(Camera(sensor=0, sensor_blur_nm=6.0))
    assert_allclose(widened.sum(axis=0), plain.sum(axis=0), rtol=0.01)
    assert np.all(widened.max(axis=0) < plain.max(axis=0))


def test_a_white_balance_error_is_what_a_grey_shows() -> None:
    camera = Camera(sensor=1, white_balance_error=(0.04, -0.03))
    matrix = rendering_matrix(camera, "D50")
    assert_allclose(matrix @ white_balance_gains(matrix, camera), [1.04, 1.0, 0.97], atol=1e-12)


@pytest.mark.parametrize(("ask", "message"), [(lambda: lamp_power("X9"), "X9"),
                                              (lambda: sensitivities(Camera(sensor=7)), "index 7")])  # fmt: skip
def test_an_unknown_lamp_or_camera_is_refused_in_words(ask: object, message: str) -> None:
    with pytest.raises(MatchError, match=message):
        ask()  # type: ignore[operator]


# Tone curves


def test_the_plain_curve_is_srgbs() -> None:
    # Reference: IEC 61966-2-1 by way of colour-science.
    linear = np.linspace(0, 1, 257)
    assert_allclose(encoded(linear, ToneCurve()), colour_science().models.eotf_inverse_sRGB(linear), atol=1e-12)


@given(
    st.builds(
        ToneCurve,
        contrast=st.floats(0.8, 1.4),
        shoulder=st.floats(0, 2),
        toe=st.floats(0, 0.5),
        sigmoid=st.floats(0, 6),
    )
)
@settings(max_examples=25)
def test_every_tone_curve_rises_from_black_to_white_and_exposes_mid_grey_right(tone: ToneCurve) -> None:
    values = encoded(np.linspace(0, 1, 2001), tone)
    assert np.all(np.diff(values) > 0)
    assert_allclose(values[[0, -1]], [0, 1], atol=1e-12)
    assert_allclose(encoded(0.18 * mid_grey_exposure(tone), tone), encode_srgb(0.18), atol=1e-9)


def test_each_strength_does_what_its_name_says() -> None:
    def slope(tone: ToneCurve, x: float) -> float:
        x = x * mid_grey_exposure(tone)
        return float(np.diff(encoded(np.array([x * 0.999, x * 1.001]), tone))[0])

    plain = ToneCurve()
    assert slope(ToneCurve(contrast=1.2), 0.18) > slope(plain, 0.18)
    assert slope(ToneCurve(sigmoid=3.0), 0.18) > slope(plain, 0.18)
    assert slope(ToneCurve(shoulder=1.0), 0.8) < slope(plain, 0.8)
    tone = ToneCurve(toe=0.3)
    assert encoded(0.01 * mid_grey_exposure(tone), tone) < encoded(0.01, plain)


@pytest.mark.parametrize("tone", [ToneCurve(), PHONE_CURVE])
def test_the_quick_table_rounds_as_the_formula_does(tone: ToneCurve) -> None:
    linear = np.random.default_rng(1).random((200, 200, 3)).astype(np.float32) ** 3
    exact = encoded(linear, tone) * 255
    assert np.abs(quantised(linear, tone, 8) - exact).max() < 0.55


# Paints


@pytest.mark.parametrize("name", sorted(calibration.load(SceneFile, "scene").ranges.recipes))
@pytest.mark.parametrize("wanted", [0.0, 0.5, 6.0])
def test_every_recipe_yields_the_difference_that_is_asked_for(name: str, wanted: float) -> None:
    recipe = scene_file().ranges.recipes[name]
    shelf = toner_set(toner_file())
    for card_toners in ((), recipe.card_toners()):
        paint = Paint(recipe.formula(), wanted, card_toners)
        pair = paint_pair(paint, shelf, toner_file().optics, scene_file().physics, np.random.default_rng(3))
        # Reference: CIEDE2000 by colour-science from the two stated colours.
        stated = colour_science().difference.delta_E_CIE2000(pair.card_lab, pair.vehicle_lab)
        assert_allclose(pair.true_delta_e00, stated, atol=1e-9)
        assert_allclose(stated, wanted, atol=0.02)
        assert np.all((pair.card > 0) & (pair.card < 1))


def test_a_metameric_card_differs_in_its_spectrum_and_under_another_lamp() -> None:
    recipe = scene_file().ranges.recipes["harbour slate"]
    paint = Paint(recipe.formula(), 0.0, recipe.card_toners())
    pair = paint_pair(
        paint, toner_set(toner_file()), toner_file().optics, scene_file().physics, np.random.default_rng(3)
    )
    assert pair.true_delta_e00 < 0.05
    assert np.abs(pair.card - pair.vehicle).max() > 0.005
    observer = Camera()
    under_a = response_weights(observer, "A")
    xyz = np.array([pair.card, pair.vehicle]) @ under_a / under_a.sum(axis=0)
    assert np.abs(xyz[0] / xyz[1] - 1).max() > 0.005


def test_a_flake_paint_is_lighter_towards_the_mirror_direction() -> None:
    physics = scene_file().physics
    assert_allclose(flop_factor(45.0, 1.3, physics), 1.0)
    assert np.all(np.diff(flop_factor(np.arange(5, 115, 5.0), 1.3, physics)) < 0)
    assert_allclose(flop_factor(np.arange(5, 115, 5.0), 0.0, physics), 1.0)
    silver = Paint((("white", 100.0), ("black", 2.0)), 1.0, finish="metallic", flop=1.0)
    optics, shelf = toner_file().optics, toner_set(toner_file())
    light = [
        paint_pair(replace(silver, view_angle_deg=a), shelf, optics, physics, np.random.default_rng(0)).vehicle_lab[0]
        for a in (15.0, 45.0, 110.0)
    ]
    assert light[0] > light[1] > light[2]


def test_a_card_sprayed_with_another_flop_matches_at_the_face_only() -> None:
    silver = Paint((("white", 100.0), ("black", 2.0)), 0.0, finish="metallic", flop=1.0, card_flop_ratio=1.2)
    optics, shelf, physics = toner_file().optics, toner_set(toner_file()), scene_file().physics
    face = paint_pair(silver, shelf, optics, physics, np.random.default_rng(0))
    assert face.true_delta_e00 < 1e-6
    flop = replace(silver, view_angle_deg=110.0)
    # The same card body, seen at the flop angle: darker than the vehicle.
    seen = [lab_from_reflectance(face.card * float(flop_factor(110.0, f, physics)))[0] for f in (1.2, 1.0)]
    assert seen[0] < seen[1] - 1
    assert flop.card_flop_ratio == 1.2


# The whole photograph


@pytest.mark.parametrize(("bits", "tolerance"), [(16, 0.03), (8, 0.6)])
def test_an_ideal_photo_reads_as_the_true_colours(bits: int, tolerance: float) -> None:
    # Truth: CIELAB by ASTM E2022 weights. Tolerance at 16 bits: between those and the camera's straight lines between
    # bands; at 8 bits: half a code as CIELAB of this slate.
    photo = rendered(plain_scene(camera=Camera(bits=bits)))
    for kind, truth in ((Kind.CARD, photo.card_lab), (Kind.VEHICLE, photo.vehicle_lab)):
        for region in regions_of(photo, kind):
            assert_allclose(lab_of(linear_mean(photo, region)), truth, atol=tolerance)
    for grey in regions_of(photo, Kind.GREY):
        assert_allclose(linear_mean(photo, grey), 0.18, atol=0.18 * tolerance / 20 + 1e-4)


def test_an_ideal_photo_in_display_p3_holds_the_same_colours() -> None:
    colour = colour_science()
    photo = rendered(plain_scene(camera=Camera(bits=16, profile="display-p3")))
    (card,) = regions_of(photo, Kind.CARD)
    xyz = colour.RGB_to_XYZ(linear_mean(photo, card), "Display P3")
    assert_allclose(colour.XYZ_to_Lab(xyz, colour.CCS_ILLUMINANTS["cie_2_1931"]["D65"]), photo.card_lab, atol=0.03)


def test_the_same_scene_gives_the_same_picture_and_another_seed_another() -> None:
    scene = random_scene(np.random.default_rng(8), scene_file().ranges, SMALL)
    first, again = rendered(scene), rendered(scene)
    assert_array_equal(first.image, again.image)
    assert first.regions == again.regions
    assert np.any(rendered(replace(scene, seed=scene.seed + 1)).image != first.image)


@pytest.mark.parametrize("index", range(8))
def test_regions_lie_inside_their_material(index: int) -> None:
    scene = random_scene(np.random.default_rng([77, index]), scene_file().ranges, SMALL)
    capture = captured(scene, toner_file(), scene_file().physics)
    material = capture.material[:, ::-1] if scene.layout.mirrored else capture.material
    photo = rendered(scene)
    check_regions(photo.regions, *SMALL)
    numbers = {Kind.CARD: Material.CARD, Kind.VEHICLE: Material.VEHICLE}
    greys = regions_of(photo, Kind.GREY)
    assert [grey.reflectance for grey in greys] == list(scene.greys)
    assert len(regions_of(photo, Kind.VEHICLE)) == 2
    for region in photo.regions:
        inside = material[region.y : region.y + region.height, region.x : region.x + region.width]
        number = Material.GREY + greys.index(region) if region.kind is Kind.GREY else numbers[region.kind]
        assert np.all(inside == number), region


def test_one_vehicle_region_lies_on_each_side_of_the_card() -> None:
    for mirrored in (False, True):
        photo = rendered(plain_scene(layout=Layout(mirrored=mirrored)))
        (card,) = regions_of(photo, Kind.CARD)
        sides = sorted(region.x - card.x for region in regions_of(photo, Kind.VEHICLE))
        assert sides[0] < 0 < sides[1]


def test_a_mirrored_layout_is_the_same_photo_reversed() -> None:
    plain, reversed_ = rendered(plain_scene()), rendered(plain_scene(layout=Layout(body_line_deg=0.0, mirrored=True)))
    assert_array_equal(plain.image, reversed_.image[:, ::-1])


def test_more_gradient_means_more_slope_inside_a_region() -> None:
    def slope(linear: float) -> float:
        photo = rendered(
            plain_scene(light=Light(linear=linear, direction_deg=0.0), camera=Camera(bits=16, exposure_ev=-1))
        )
        (card,) = regions_of(photo, Kind.CARD)
        pixels = photo.image[card.y : card.y + card.height, card.x : card.x + card.width, 1].astype(float)
        columns = pixels.mean(axis=0)
        return float(columns[-5:].mean() - columns[:5].mean())

    slopes = [slope(linear) for linear in (0.0, 0.05, 0.1, 0.2)]
    assert abs(slopes[0]) < 1
    assert np.all(np.diff(slopes) > 50)


def test_the_light_at_the_frames_centre_is_the_scenes_light() -> None:
    even = captured(plain_scene(), toner_file(), scene_file().physics).raw[150, 200]
    uneven = plain_scene(light=Light(linear=0.2, quadratic=0.1, direction_deg=30.0))
    assert_allclose(captured(uneven, toner_file(), scene_file().physics).raw[150, 200], even, rtol=0.003)


def test_mirrored_surroundings_add_the_fresnel_share_to_paint_and_nothing_to_grey() -> None:
    # Fresnel's 4 % (calibration/scene.toml) of surroundings half as bright as a white adds 0.02 to every channel.
    def raw(gloss: Gloss) -> tuple[np.ndarray, np.ndarray]:
        scene = plain_scene(gloss=gloss)
        capture = captured(scene, toner_file(), scene_file().physics)
        return capture.raw / capture.white, capture.material

    (matte, material), (glossy, _) = raw(Gloss()), raw(Gloss(surroundings=0.5))
    added = (glossy - matte).mean(axis=2)
    inside = {number: material == number for number in (Material.VEHICLE, Material.CARD, Material.GREY)}
    assert_allclose(np.median(added[inside[Material.VEHICLE]]), 0.02, rtol=1e-3)
    assert_allclose(np.median(added[inside[Material.CARD]]), 0.02, rtol=1e-3)
    assert_allclose(np.median(added[inside[Material.GREY]]), 0.0, atol=1e-6)


def test_a_careless_person_marks_the_mirrored_lamp_and_a_careful_one_does_not() -> None:
    lamp = Lamp(at=(0.55, 0.47), half_height_deg=1.0, half_width_deg=60.0, radiance=20.0)
    scene = plain_scene(gloss=Gloss(lamps=(lamp,)), camera=Camera(exposure_ev=-1.0))

    def brightest(careless: bool) -> float:
        photo = rendered(replace(scene, careless=careless))
        return max(float(linear_mean(photo, region).mean()) for region in regions_of(photo, Kind.VEHICLE))

    assert brightest(True) > 2 * brightest(False)


def test_a_lamp_appears_mirrored_where_it_was_put() -> None:
    for on_card, place in ((False, (0.75, 0.40)), (True, (0.55, 0.45))):
        layout = Layout(body_line_deg=0.0, card_tilt_deg=(3.0, -2.0), curvature_deg=(4.0, 6.0))
        lamp = Lamp(at=place, half_height_deg=1.0, half_width_deg=1.0, radiance=30.0, on_card=on_card)
        capture = captured(plain_scene(layout=layout, gloss=Gloss(lamps=(lamp,))), toner_file(), scene_file().physics)
        x, y = (round(value * SMALL[0]) for value in place)
        assert capture.highlight[y, x] > 0.95 * 0.04 * 30.0


def test_photon_noise_has_the_variance_of_its_signal() -> None:
    # Poisson: variance / signal = 1 / full well, in shares of full scale; exposed so that grey is 0.18 of it.
    scene = plain_scene(camera=Camera(full_well_electrons=5000.0, bits=16))
    photo = rendered(scene)
    (grey,) = regions_of(photo, Kind.GREY)
    pixels = photo.image[grey.y : grey.y + grey.height, grey.x : grey.x + grey.width, 1].astype(float) / 65535
    colour = colour_science()
    linear = colour.models.eotf_sRGB(pixels)
    matrix = rendering_matrix(scene.camera, "D65")
    capture = captured(scene, toner_file(), scene_file().physics)
    # One channel of the picture is a known sum of the three of the sensor, each with its own noise.
    variance = ((matrix[1] / capture.white) ** 2 * 0.18 * capture.white / 5000.0).sum()
    assert_allclose(linear.std(), np.sqrt(variance), rtol=0.06)


def test_a_metered_exposure_leaves_the_highlights_room() -> None:
    assert exposure_gain(np.full(100, 0.05, np.float32), Camera(metering=1.0)) == pytest.approx(0.18 / 0.05)
    assert exposure_gain(np.full(100, 0.05, np.float32), Camera(metering=0.0)) == 1.0
    bright = np.full(100, 0.05, np.float32)
    bright[:10] = 0.9
    assert exposure_gain(bright, Camera(metering=1.0)) * 0.9 < 1


# Random scenes and files


def test_random_scenes_cover_what_they_promise() -> None:
    scenes = [random_scene(np.random.default_rng([3, i]), scene_file().ranges, SMALL) for i in range(400)]
    wanted = np.array([scene.paint.true_delta_e00 for scene in scenes])
    assert wanted.min() >= 0
    assert wanted.max() <= 6
    assert 0.8 < np.mean(wanted < 4) < 0.9
    assert {scene.paint.finish for scene in scenes} == {"solid", "metallic", "pearl"}
    assert {scene.light.lamp for scene in scenes} == set(scene_file().ranges.lamps)
    assert {len(scene.greys) for scene in scenes} == {1, 3}
    assert {scene.camera.profile for scene in scenes} == {"srgb", "display-p3"}
    assert any(scene.camera.tone == ToneCurve() for scene in scenes)


def test_files_carry_their_profile() -> None:
    photo = rendered(plain_scene())
    with Image.open(io.BytesIO(encode(photo, "PNG"))) as png:
        assert_array_equal(np.asarray(png), photo.image)
        assert ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(png.info["icc_profile"]))).strip()
    with Image.open(io.BytesIO(encode(photo, "JPEG", 95, "4:4:4"))) as jpeg:
        assert jpeg.size == SMALL
        assert np.abs(np.asarray(jpeg).astype(int) - photo.image).mean() < 1


def test_the_display_p3_profile_converts_as_colour_science_does() -> None:
    colour = colour_science()
    codes = np.array([[[200, 60, 60], [60, 160, 80], [50, 70, 160], [120, 120, 120]]], dtype=np.uint8)
    profile = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile("display-p3")))
    converted = ImageCms.profileToProfile(Image.fromarray(codes), profile, ImageCms.createProfile("sRGB"))
    linear = colour.models.eotf_sRGB(codes / 255)
    expected = colour.RGB_to_RGB(linear, "Display P3", "sRGB")
    expected = colour.models.eotf_inverse_sRGB(np.clip(expected, 0, 1)) * 255
    assert np.abs(np.asarray(converted) - expected).max() <= 2  # two roundings to 8 bits


def test_sixteen_bits_are_written_as_png_only() -> None:
    photo = rendered(plain_scene(camera=Camera(bits=16)))
    assert photo.image.dtype == np.uint16
    assert encode(photo, "PNG")[:4] == b"\x89PNG"
    with pytest.raises(MatchError, match="PNG"):
        encode(photo, "JPEG")
    assert WAVELENGTHS_NM.size == 31


# The demo


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    write_demo(folder)
    return folder


def test_the_demo_says_that_it_is_invented_and_marks_what_it_shows(demo_folder: Path) -> None:
    photos = sorted(demo_folder.glob("*.jpg"))
    assert len(photos) == 4
    for photo in photos:
        marks = json.loads(photo.with_suffix(".json").read_text(encoding="utf-8"))
        assert marks["note"].startswith("Invented demo")
        regions = [Region(Kind(entry.pop("kind")), **entry) for entry in marks["regions"]]
        with Image.open(photo) as picture:
            check_regions(regions, *picture.size)
            assert picture.size == (1600, 1200)


def test_the_apps_demo_photo_is_the_first_of_the_written_ones(demo_folder: Path) -> None:
    content, regions = demo_photo()
    assert content == (demo_folder / "1-first-card.jpg").read_bytes()
    assert {region.kind for region in regions} == set(Kind)


def test_the_demo_shows_every_verdict_once(demo_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photos = sorted(str(path) for path in demo_folder.glob("*.jpg"))
    assert main(["check", "--json", *photos]) == 0
    verdicts = [json.loads(line)["verdict"] for line in capsys.readouterr().out.splitlines()]
    assert verdicts == ["blend", "retint", "retake", "go"]
