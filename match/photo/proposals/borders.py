"""Where a tapped surface ends on a small picture: what differs in colour, plain edges, and faint ones along lines.

Edges are told in the noise beside the tap. Flake and grain change the light of all channels alike and hardly its
colour, so a card whose brightness is lost in the flake still ends where its colour changes.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity

Pixels = NDArray[np.float32]
Mask = NDArray[np.bool_]
Place = tuple[int, int]

COMPONENTS = (np.array([[1, -1, 0], [1, 1, -2], [1, 1, 1]]) / np.sqrt([[2], [6], [3]])).astype(np.float32)
"""Red-green, blue-yellow and brightness of log light: orthonormal, so that a step is as long as in the channels."""


@dataclass(frozen=True)
class BorderSettings:
    """How a surface's borders are told; see the table ``tap.borders`` of ``calibration/capture.toml``."""

    burnt: float = quantity("1")
    light_range: float = quantity("log ratio")
    colour_range: float = quantity("log ratio")
    colour_noise: float = quantity("times the median beside the tap")
    most_colour_range: float = quantity("log ratio")
    agreeing_px: float = quantity("px")
    noise_px: float = quantity("px")
    least_noise: tuple[float, ...] = quantity("log ratio")
    edge_noise: float = quantity("times the median beside the tap")
    least_edge: float = quantity("standard deviations a px")
    plain_edge: float = quantity("log light a px")
    most_edge: float = quantity("log light a px")
    fine_px: float = quantity("px")
    rough_px: float = quantity("px")
    coarse_px: float = quantity("px")
    line_px: float = quantity("px")
    line_ways: float = quantity("count")
    line_share: float = quantity("fraction of the line")
    line_noise: tuple[float, ...] = quantity("times the median beside the tap")
    least_line_edge: tuple[float, ...] = quantity("standard deviations a px")
    aside_px: float = quantity("px")


@dataclass(frozen=True, eq=False)
class Borders:
    """Masks (h, w): the surface without its edges, the faint edges by themselves, and what is burnt out.

    ``in_noise`` (h, w, 3) is the light's components, each in its ``noise`` (3,), the standard deviation beside the tap.
    """

    clean: Mask
    faint: Mask
    glare: Mask
    in_noise: Pixels
    noise: NDArray[np.float64]


def find_borders(light: Pixels, brightest: Pixels, seed: Place, settings: BorderSettings) -> Borders:
    """Return where the tapped surface is, and where it ends.

    Parameters
    ----------
    light : (h, w, 3) log light, single flakes and grains taken out
    brightest : (h, w) linear light of each pixel's brightest channel
    seed : x and y of the tap
    """
    glare = brightest >= settings.burnt
    alike = _alike(light, seed, settings) & ~glare
    in_noise, noise = _in_noise(light, alike, seed, settings)
    edges, plain = _edges(light, in_noise, alike, seed, settings)
    inside = alike & ~_widened(edges, 3)
    for halvings in range(len(settings.line_noise)):
        edges = edges | _line_edges(in_noise, inside, seed, halvings, settings)
    # A faint edge beside a plain one is that one's shadow or blur, and no question.
    faint = edges & ~_widened(plain | ~alike, 2 * settings.aside_px + 1)
    return Borders(alike & ~edges, faint, glare, in_noise, noise)


def beside(seed: Place, reach: int) -> tuple[slice, slice]:
    """Return rows and columns around a place."""
    x, y = seed
    return slice(max(y - reach, 0), y + reach + 1), slice(max(x - reach, 0), x + reach + 1)


def _alike(light: Pixels, seed: Place, settings: BorderSettings) -> Mask:
    """Return where the picture has the tapped colour; smoothed more where noise alone would be another colour."""
    tapped = np.median(light[beside(seed, 3)].reshape(-1, 3), axis=0)
    for smoothing in (settings.fine_px, settings.rough_px):
        away = _soft(light, smoothing) - tapped
        level = away.mean(axis=-1)
        colour = np.linalg.norm(away - level[..., None], axis=-1)
        # In the dark, noise alone colours a pixel: what half of the pixels under the finger do is no other surface.
        most = settings.colour_noise * float(np.median(colour[beside(seed, 4)]))
        if most <= settings.colour_range:
            break
    limit = np.clip(most, settings.colour_range, settings.most_colour_range)
    near = (np.abs(level) <= settings.light_range) & (colour <= limit)
    # Single pixels have no say against their neighbours: noise makes no holes in a surface.
    side = int(settings.agreeing_px)
    return np.asarray(cv2.blur(near.astype(np.float32), (side, side)) > 0.5)


def _in_noise(light: Pixels, alike: Mask, seed: Place, settings: BorderSettings) -> tuple[Pixels, NDArray[np.float64]]:
    """Return red-green, blue-yellow and brightness, each without what the ones before foretell, in its noise; and that.

    A channel in the dark is noisier than the others and makes the components' noise go together; taken apart, what the
    other channels show is not lost in it. The noise is what smoothing takes out, by its median absolute deviation times
    1.4826 (the normal distribution's ratio), and no less than what uneven light and rounding do.
    """
    parts = light @ COMPONENTS.T
    around = beside(seed, int(settings.noise_px))
    rough = (parts - _soft(parts, settings.coarse_px))[around]
    rough = rough[alike[around]] if alike[around].any() else rough.reshape(-1, 3)
    least = np.array(settings.least_noise, dtype=np.float32)
    spread = np.maximum(1.4826 * np.median(np.abs(rough), axis=0), 1e-6)
    held = np.clip(rough, -2.5 * spread, 2.5 * spread)  # the edges beside the tap have no say
    covariance = held.T @ held / len(held) + np.diag(least**2)
    mixing = np.linalg.cholesky(covariance.astype(np.float64))
    return np.asarray(parts @ np.linalg.inv(mixing).T, dtype=np.float32), np.diagonal(mixing)


def _edges(light: Pixels, in_noise: Pixels, alike: Mask, seed: Place, settings: BorderSettings) -> tuple[Mask, Mask]:
    """Return where light or colour steps, and where an eye sees it too.

    The light is smoothed more where noise or flake alone would be as steep as an edge.
    """
    steep = _slope(light, settings.fine_px)
    if settings.edge_noise * _usual(steep, alike, seed) > settings.most_edge:
        steep = _slope(light, settings.rough_px)
    slope = _slope(in_noise, settings.fine_px)
    limit = max(settings.edge_noise * _usual(slope, alike, seed), settings.least_edge)
    edges = np.asarray((slope > limit) | (steep > settings.most_edge))
    return edges, edges & (steep > settings.plain_edge)


def _soft(light: Pixels, px: float) -> Pixels:
    return np.asarray(cv2.GaussianBlur(light, (0, 0), px), dtype=np.float32)


def _slope(light: Pixels, smoothing_px: float) -> Pixels:
    soft = _soft(light, smoothing_px)
    across, down = cv2.Sobel(soft, -1, 1, 0, scale=1 / 8), cv2.Sobel(soft, -1, 0, 1, scale=1 / 8)
    return np.asarray(np.sqrt(np.mean(across**2 + down**2, axis=-1)), dtype=np.float32)


def _line_edges(in_noise: Pixels, inside: Mask, seed: Place, halvings: int, settings: BorderSettings) -> Mask:
    """Return where light or colour steps along a straight line, though noise hides it in any single pixel.

    Each halving of the picture looks for longer lines between broader sides, which show a smaller step.
    """
    high, wide = inside.shape
    size = (max(wide >> halvings, 1), max(high >> halvings, 1))
    small = np.asarray(cv2.resize(in_noise, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    share = cv2.resize(inside.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    within = share > 0.99
    at = (seed[0] >> halvings, seed[1] >> halvings)
    strength = _line_strength(small, within, settings)
    limit = settings.line_noise[halvings] * _usual(strength, within, at, 12 >> halvings)
    found = (strength > max(limit, settings.least_line_edge[halvings])) & within
    return np.asarray(cv2.resize(found.astype(np.uint8), (wide, high), interpolation=cv2.INTER_NEAREST) > 0) & inside


def _line_strength(light: Pixels, inside: Mask, settings: BorderSettings) -> Pixels:
    """Return the strongest mean slope across a line through each pixel, over lines of every direction.

    Smoothing and averages are over pixels of the surface alone, so that a strong edge does not reach into it; the slow
    slope of the light itself is taken off first.
    """
    weight = inside.astype(np.float32)
    filled = np.maximum(cv2.GaussianBlur(weight, (0, 0), settings.coarse_px), 1e-3)[..., None]
    soft = cv2.GaussianBlur(light * weight[..., None], (0, 0), settings.coarse_px) / filled
    slopes = [cv2.Sobel(soft, -1, *way, scale=1 / 8) * weight[..., None] for way in ((1, 0), (0, 1))]
    length = int(settings.line_px)
    around = (2 * length + 1, 2 * length + 1)
    share = np.maximum(cv2.blur(weight, around), 1e-3)[..., None]
    slopes = [(slope - cv2.blur(slope, around) / share) * weight[..., None] for slope in slopes]
    most = np.zeros(weight.shape, dtype=np.float32)
    for turn in np.arange(int(settings.line_ways)) * np.pi / settings.line_ways:
        line = _line(length, turn)
        reached = cv2.filter2D(weight, -1, line, borderType=cv2.BORDER_CONSTANT)
        step = slopes[1] * np.float32(np.cos(turn)) - slopes[0] * np.float32(np.sin(turn))
        along = cv2.filter2D(step, -1, line, borderType=cv2.BORDER_CONSTANT) / np.maximum(reached, 1e-3)[..., None]
        strength = np.sqrt(np.mean(along**2, axis=-1)) * (reached >= settings.line_share)
        most = np.maximum(most, strength)
    return most


def _line(length: int, turn: float) -> Pixels:
    """Return a kernel that averages along a line."""
    kernel = np.zeros((length, length), dtype=np.float32)
    middle, reach = (length - 1) / 2, (length - 1) / 2
    ends = [(middle + sign * reach * np.cos(turn), middle + sign * reach * np.sin(turn)) for sign in (-1, 1)]
    first, last = (tuple(round(value * 16) for value in end) for end in ends)
    cv2.line(kernel, first, last, 1.0, 1, cv2.LINE_8, 4)
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)


def _usual(slope: Pixels, inside: Mask, seed: Place, reach: int = 12) -> float:
    """Return the median of a slope over the surface beside the tap."""
    part = beside(seed, reach)
    here = slope[part][inside[part]]
    return float(np.median(here)) if here.size else 0.0


def _widened(mask: Mask, px: float) -> Mask:
    size = int(px)
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((size, size), np.uint8)) > 0)
