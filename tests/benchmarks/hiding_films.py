"""How well a hiding card tells the coats: spectral films over black and white, photographed, every colour class.

    .venv/bin/python -m tests.benchmarks.hiding_films [--each 6] [--seed 2026]

The films are this script's own and share nothing with :mod:`match.coats.spectral_film`: absorption and scattering
spectra of each colour class, drawn at random; Kubelka's film (1948) at every nanometre of 400-700 in steps of 5, with
and without Saunderson's inner reflection; a chart whose black and white are not the nominal ones. Two cards in three
mirror 4 % of what stands around them, from black cloth to a white wall, and one in three mirrors nothing. The cameras
are two measured ones (colour-science), under daylight and an LED, with a 3 x 3 matrix fitted to the 24-patch chart, a
contrast of their own, noise, and JPEG. The truth is the number of coats at which luminance over black reaches 0.98 of
that over white.
"""

from __future__ import annotations

import argparse
import io
import warnings
from dataclasses import dataclass

import numpy as np
from PIL import Image

from match.check.calibration_files import load_calibration
from match.check.verdict import Finish
from match.coats.hiding import HidingCode
from match.coats.judge import judge_card, measure_fields
from match.coats.rules import load_coats_rules
from match.photo.load import load
from match.photo.regions import Kind, Region
from tests.support.synthetic import srgb_encode

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

NM = np.arange(400.0, 701.0, 5.0)
SHAPE = colour.SpectralShape(400, 700, 5)
CAMERAS = ("Nikon 5100 (NPL)", "Sigma SDMerill (NPL)")
LIGHTS = ("D65", "D50", "LED-B3")
GREYS = {0.05: (40, 420), 0.18: (190, 420), 0.6: (340, 420)}
SURROUNDINGS = (0.04, 0.8)
"""Reflectance of black cloth and of a white wall; clear paint mirrors 4 % of it (Fresnel, refractive index 1.5)."""
PLACES = ((100, 100, 180, 200), (420, 100, 180, 200))


@dataclass(frozen=True)
class Paint:
    name: str
    K: np.ndarray
    S: np.ndarray


def edge(centre, width, short, long):
    """Return a level that runs from ``short`` to ``long`` at ``centre`` nm."""
    return short + (long - short) / (1.0 + np.exp(-(NM - centre) / width))


def bump(centre, width, height):
    return height * np.exp(-0.5 * ((NM - centre) / width) ** 2)


def paints(rng):
    """Yield one paint of each class, every number drawn anew; K and S in arbitrary units."""

    def about(value, spread=0.25):
        return value * np.exp(spread * rng.standard_normal())

    def at(nm, spread=6.0):
        return nm + spread * rng.standard_normal()

    def scatter(level, power):
        return about(level) * (550.0 / NM) ** about(power, 0.2)

    base = about(0.004)
    white, some = scatter(1.0, 1.0), scatter(0.25, 1.2)
    yield Paint("white", base + edge(at(408), 6, 0.5, 0.0), white)
    yield Paint("light grey", about(0.03) + base, white)
    yield Paint("dark grey", about(0.5) * (550 / NM) ** 0.3, scatter(0.5, 0.8))
    yield Paint("black", about(6.0) * (550 / NM) ** 0.2, scatter(0.05, 0.5))
    yield Paint("beige", 0.01 + edge(at(500), 45, about(0.25), about(0.01)), white)
    yield Paint("yellow", edge(at(505), 9, about(2.5), about(0.004)), scatter(0.35, 0.7))
    yield Paint("orange", edge(at(565), 9, about(3.0), about(0.006)), scatter(0.25, 0.7))
    yield Paint("signal red", edge(at(600), 9, about(3.5), about(0.01)), scatter(0.18, 0.9))
    yield Paint("burgundy", about(0.03) + edge(at(622), 14, about(5.0), about(0.15)), scatter(0.10, 0.9))
    yield Paint("green", edge(at(470), 14, about(2.0), 0.0) + edge(at(575), 14, about(0.06), about(1.6)), some)
    yield Paint("royal blue", 0.02 + bump(at(590), 45, about(3.0)) + edge(at(640), 20, 0.0, about(0.8)), some)
    yield Paint("light blue", 0.01 + bump(at(600), 50, about(0.35)), scatter(0.8, 1.0))


def film(paint, thickness, backing, k2):
    """Return what a photo without gloss sees of a film: Kubelka's coth form, then Saunderson's inner reflection."""
    a = 1.0 + paint.K / paint.S
    b = np.sqrt(a * a - 1.0)
    coth = 1.0 / np.tanh(np.minimum(b * paint.S * thickness, 300.0))
    inside = (1.0 - backing * (a - b * coth)) / (a - backing + b * coth)
    return (1.0 - k2) * inside / (1.0 - k2 * inside)


def observer():
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values
    weights = cmfs * light[:, None]
    return weights / weights[:, 1].sum()


def hiding_thickness(paint, chart, k2, weights):
    """Return the thickness at which luminance over black is 0.98 of that over white, by halving."""
    low, high = 1e-3, 1e4
    for _ in range(70):
        middle = np.sqrt(low * high)
        over = [film(paint, middle, backing, k2) @ weights[:, 1] for backing in chart]
        low, high = (low, middle) if over[0] >= 0.98 * over[1] else (middle, high)
    return high


def photograph(spectra, rng, camera, light):
    """Return a JPEG of two spectra side by side with three grey steps, as a camera of its own contrast shows it."""
    sensitivities = colour.MSDS_CAMERA_SENSITIVITIES[camera].copy().align(SHAPE).values
    source = colour.SDS_ILLUMINANTS[light].copy().align(SHAPE).values
    seen = sensitivities * source[:, None]
    seen = seen / seen.sum(axis=0)
    chart = np.stack(
        [sd.copy().align(SHAPE).values for sd in colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"].values()]
    )
    wanted = (chart @ observer()) @ colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB.T
    matrix, *_ = np.linalg.lstsq(chart @ seen, wanted, rcond=None)
    matrix = matrix / matrix.sum(axis=0)
    contrast = float(np.exp(0.08 * rng.standard_normal() + 0.06))
    linear = np.full((600, 700, 3), 0.3)
    for (x, y, w, h), spectrum in zip(PLACES, spectra, strict=True):
        linear[y - 20 : y + h + 20, x - 20 : x + w + 20] = (spectrum @ seen) @ matrix
    for reflectance, (x, y) in GREYS.items():
        linear[y : y + 110, x : x + 110] = reflectance
    linear = linear * (1.0 + 0.04 * np.linspace(-1, 1, 700)[None, :, None] * rng.standard_normal())
    linear = 0.18 * (np.maximum(linear, 0.0) / 0.18) ** contrast
    linear = linear + 0.004 * np.sqrt(np.maximum(linear, 1e-3)) * rng.standard_normal(linear.shape)
    codes = np.rint(srgb_encode(np.clip(linear * 0.9, 0.0, 1.0)) * 255).astype(np.uint8)
    written = io.BytesIO()
    Image.fromarray(codes).save(written, "JPEG", quality=93, subsampling=0)
    return written.getvalue()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--each", type=int, default=6, help="films of each colour class")
    parser.add_argument("--seed", type=int, default=2026)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    calibration, rules, weights = load_calibration(), load_coats_rules(), observer()
    rows = []
    for _ in range(options.each):
        for paint in paints(rng):
            k2 = float(rng.choice([0.0, rng.uniform(0.3, 0.6)]))
            chart = (float(rng.uniform(0.005, 0.02)), float(rng.uniform(0.76, 0.84)))
            needed, sprayed = float(rng.uniform(1.2, 6.0)), float(rng.choice([1.0, 2.0, 2.0, 3.0]))
            sprayed = min(sprayed, max(1.0, np.floor(needed)))
            thickness = hiding_thickness(paint, chart, k2, weights) * sprayed / needed
            spectra = [film(paint, thickness, backing, k2) for backing in chart]
            mirrored = 0.04 * np.exp(rng.uniform(*np.log(SURROUNDINGS))) * float(rng.random() < 2.0 / 3.0)
            gloss = mirrored + 0.0004 * rng.standard_normal(2) * (mirrored > 0.0)
            shown = [spectrum + max(0.0, each) for spectrum, each in zip(spectra, gloss, strict=True)]
            data = photograph(shown, rng, str(rng.choice(CAMERAS)), str(rng.choice(LIGHTS)))
            greys = [Region(Kind.GREY, x + 15, y + 15, 80, 80, r) for r, (x, y) in GREYS.items()]
            fields = [Region(Kind.CARD, *place) for place in PLACES]
            fields[1] = Region(Kind.VEHICLE, *PLACES[1])
            measured = measure_fields(load(data, "card.jpg"), greys, *fields, calibration)
            found = judge_card(measured, sprayed, Finish.SOLID, rules)
            coats = found.result.coats
            asks = any(each.code is HidingCode.COATS_WIDE for each in found.result.findings)
            rows.append((paint.name, sprayed, needed, coats, found.must_retake, bool(mirrored > 0.0), asks))
    report(rows)


def report(rows) -> None:
    names = list(dict.fromkeys(row[0] for row in rows))
    held_all, told_all = 0, 0
    print(f"{'paint':12} {'told':>5} {'held':>5} {'told/true':>10} {'width':>7} {'whole too few':>14}  asks for a card")
    for name in names:
        mine = [(row[2], row[3]) for row in rows if row[0] == name and row[3] is not None and not row[4]]
        ends = [(c.interval[0], np.inf if c.interval[1] is None else c.interval[1]) for _, c in mine]
        held = [low <= need <= high for (need, _), (low, high) in zip(mine, ends, strict=True)]
        ratio = [c.estimate / need for need, c in mine]
        width = [high - low for low, high in ends]
        few = [c.whole is not None and c.whole < need - 0.25 for need, c in mine]
        held_all, told_all = held_all + sum(held), told_all + len(mine)
        total = sum(row[0] == name for row in rows)
        middle = (np.median(ratio), np.median(width)) if mine else (np.nan, np.nan)
        asked = sum(row[6] for row in rows if row[0] == name)
        print(
            f"{name:12} {len(mine):2}/{total:2} {sum(held):5} {middle[0]:10.2f} {middle[1]:7.2f} {sum(few):14}  {asked}"
        )
    print(f"interval holds the truth in {held_all} of {told_all} ({held_all / max(told_all, 1):.0%})")
    for words, mirrors in (("mirroring nothing", False), ("mirroring", True)):
        told = [(need, c) for _, _, need, c, retake, glossy, _ in rows if c and not retake and glossy is mirrors]
        held = sum(c.interval[0] <= need and (c.interval[1] is None or need <= c.interval[1]) for need, c in told)
        print(f"  cards {words}: {held} of {len(told)}")


if __name__ == "__main__":
    main()
