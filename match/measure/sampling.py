"""Robust reading of one region: block means in linear light, without glare, dust and dead pixels.

What is rejected is what is *localised*: a pixel far from its own block, a block far from the smooth surface through its
neighbours. The honest spread of metallic flake is neither, so it stays in the mean.
"""

from dataclasses import dataclass, field
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from match.calibration import quantity
from match.colorimetry import Array, working_from_srgb
from match.photo.encoding import srgb_to_linear
from match.photo.regions import Region
from match.robust import robust_sd

LUMINANCE_WEIGHTS = np.array([0.2, 0.7, 0.1])
"""Only ranks pixels by brightness; close to the luminance row of any RGB space with D65 white."""


@dataclass(frozen=True)
class SamplingRules:
    """How a region is read; see ``calibration/camera.toml``."""

    blocks_across: float = quantity("blocks")
    smallest_block_px: float = quantity("px")
    pixel_outlier_sd: float = quantity("robust standard deviations")
    least_pixel_spread: float = quantity("log units")
    block_outlier_sd: float = quantity("robust standard deviations")
    block_noise_floor: float = quantity("fraction")
    clipped_code: float = quantity("fraction of full scale")
    dark_code: float = quantity("fraction of full scale")
    empty_code: float = quantity("fraction of full scale")


@dataclass(frozen=True)
class Patch:
    """The pixels of one region.

    ``linear`` (h, w, 3) is linear light in sRGB primaries, 1.0 = the file's white; ``code`` (h, w, 3) the encoded
    values as fractions of full scale, by which clipping shows. Every ``step``-th pixel of the region is given.
    ``log_step`` (3,) is one step of the codes at the region's middle level, in log units of light; 0 when not rounded.
    """

    region: Region
    linear: Array
    code: Array
    step: int = 1
    log_step: Array = field(default_factory=lambda: np.zeros(3))


@dataclass(frozen=True, eq=False)
class Sample:
    """What a region holds: n block means and what was left out.

    ``position_px`` (n, 2) are block centres (x, y) in the photo; ``level`` (n, 3) are mean linear values in the working
    primaries; ``empty_share`` (3,) is the share of pixels in which a channel is empty: a colour outside what the file
    can hold; ``texture`` is the robust spread of single pixels (log units); the shares are of all pixels.
    ``rounding_sd`` (3,) is by how much the rounding of codes may shift the whole region (log units), ``stair_sd`` (3,)
    by how much a single block: where noise does not blur them, codes turn a weak gradient into stairs.
    """

    region: Region
    position_px: Array
    level: Array
    rejected_share: float
    glare_share: float
    clipped_share: float
    dark_share: float
    empty_share: Array
    texture: float
    rounding_sd: Array
    stair_sd: Array


def sample_region(patch: Patch, rules: SamplingRules) -> Sample:
    """Read one region: reject outlying pixels, average blocks in linear light, reject outlying blocks."""
    linear = working_from_srgb(patch.linear)
    high_code = np.maximum(np.maximum(patch.code[..., 0], patch.code[..., 1]), patch.code[..., 2])
    clipped = high_code >= rules.clipped_code
    dark = high_code <= rules.dark_code
    empty = np.zeros(3)
    if not dark.all():
        empty = np.array([float((patch.code[..., each] <= rules.empty_code).mean()) for each in range(3)])

    grid = _Grid.over(linear.shape[0], linear.shape[1], rules)
    log_luminance = np.log(np.maximum(linear @ LUMINANCE_WEIGHTS, 1e-6))
    # the least spread that single pixels are held against: one step of the codes is no outlier
    least = max(rules.least_pixel_spread, float(patch.log_step.max(initial=0.0)))
    keep, spread = _kept_pixels(grid.blocks(log_luminance), rules.pixel_outlier_sd, least)
    keep &= ~grid.blocks(clipped)
    if keep.mean() < 0.05:
        keep[:] = True  # a burnt-out region still has a reading; the photo's findings refuse it
    level, kept = _block_means(grid.blocks(linear), keep)
    position = patch.step * grid.centres() + np.array([patch.region.x, patch.region.y])
    usable = kept >= 0.5
    if usable.sum() < 3:
        usable = kept > 0
    smooth = _smooth_blocks(position, level, usable, rules)
    pixels_lost = 1.0 - float(kept[smooth].mean()) if smooth.any() else 1.0
    glare = 1.0 - smooth.sum() / smooth.size
    return Sample(
        region=patch.region,
        position_px=position[smooth],
        level=level[smooth],
        rejected_share=float(1.0 - (1.0 - glare) * (1.0 - pixels_lost)),
        glare_share=float(glare),
        clipped_share=float(clipped.mean()),
        dark_share=float(dark.mean()),
        empty_share=empty,
        texture=spread,
        rounding_sd=_rounding_sd(grid.blocks(patch.linear)[keep], patch.log_step),
        stair_sd=_stair_sd(grid.blocks(patch.linear), patch.log_step),
    )


def log_step(code: Array, code_step: float, scene_linear: bool) -> Array:
    """Return one step of the codes (h, w, 3) at their median, in log units of light (3,).

    ``code`` and ``code_step`` are fractions of full scale. The slope is that of IEC 61966-2-1; other 8-bit encodings
    in use differ from it by about a tenth.
    """
    middle = np.maximum(np.median(_few(code.reshape(-1, 3)), axis=0), 0.5 * code_step)
    if scene_linear:
        return np.asarray(code_step / middle)
    half = 0.5 * code_step
    return np.asarray((srgb_to_linear(middle + half) - srgb_to_linear(middle - half)) / srgb_to_linear(middle))


def _few(pixels: Array) -> Array:
    """Return every so many of the pixels (n, 3), enough for a median or a variance."""
    return pixels[:: max(1, len(pixels) // 5000)]


def _medians(values: Array) -> Array:
    """Return the medians (3,) of values (n, 3), which numpy finds sooner one channel after the other."""
    return np.asarray(np.median(np.ascontiguousarray(values.T), axis=1))


def _rounding_sd(linear: Array, log_step: Array) -> Array:
    """Return the standard deviation (3,), log units in the working primaries, of a region's shift by rounding.

    ``linear`` (n, 3) are the kept pixels. Rounding to whole codes shifts a flat region by up to half a code, evenly
    spread: 1/sqrt(12) of a step. Noise of sigma steps averages it out: over all phases of the code the shift is a
    Fourier series whose first and largest term shrinks by exp(-2 pi^2 sigma^2), the characteristic function of the
    noise. The observed spread holds the rounding's own 1/12 square step.
    """
    linear = _few(linear)
    left = _left_of_a_step(_medians(linear), np.var(linear, axis=0), log_step)
    return np.asarray(left / np.sqrt(12.0))


def _stair_sd(blocks: Array, log_step: Array) -> Array:
    """Return the standard deviation (3,), log units in the working primaries, of a block's shift by rounding.

    ``blocks`` (blocks, pixels, 3) are linear light. As :func:`_rounding_sd`, but only noise *inside* the blocks blurs
    the codes here: a stair from one block to the next is none.
    """
    # pixel by pixel of all blocks at once: by three numbers at a time numpy takes several times as long
    variance = _medians(np.var(np.ascontiguousarray(blocks.swapaxes(0, 1)), axis=0))
    left = _left_of_a_step(_medians(blocks.reshape(-1, 3)), variance, log_step)
    return np.asarray(left / np.sqrt(12.0))


def _left_of_a_step(level: Array, variance: Array, log_step: Array) -> Array:
    """Return what noise leaves of one step of the codes (3,), in log units in the working primaries.

    ``level`` and ``variance`` (3,) are of linear light in sRGB primaries.
    """
    if not log_step.any():
        return np.zeros(3)
    step = np.maximum(level, 1e-6) * log_step
    noise = np.maximum(variance / step**2 - 1.0 / 12.0, 0.0)
    left = step * np.exp(-2.0 * np.pi**2 * noise)
    mix = working_from_srgb(np.eye(3)).T
    return np.asarray(np.sqrt(mix**2 @ left**2) / np.maximum(working_from_srgb(level), 1e-6))


@dataclass(frozen=True)
class _Grid:
    """Equal blocks over a region; the few pixels that do not fill a block are left out evenly at its edges."""

    rows: int
    columns: int
    height: int
    width: int
    top: int
    left: int

    @classmethod
    def over(cls, height: int, width: int, rules: SamplingRules) -> Self:
        """Return the grid for a region of this size in pixels."""
        side = max(int(rules.smallest_block_px), int(max(height, width) / rules.blocks_across))
        rows, columns = max(1, height // side), max(1, width // side)
        block_height, block_width = height // rows, width // columns
        top, left = (height - rows * block_height) // 2, (width - columns * block_width) // 2
        return cls(rows, columns, block_height, block_width, top, left)

    def blocks(self, pixels: NDArray[Any]) -> NDArray[Any]:
        """Return (blocks, pixels a block, ...) from (h, w, ...)."""
        bottom, right = self.top + self.rows * self.height, self.left + self.columns * self.width
        inside = pixels[self.top : bottom, self.left : right]
        split = inside.reshape(self.rows, self.height, self.columns, self.width, *pixels.shape[2:])
        return split.swapaxes(1, 2).reshape(self.rows * self.columns, self.height * self.width, *pixels.shape[2:])

    def centres(self) -> Array:
        """Return (blocks, 2) centres (x, y) in pixels of the region."""
        y = self.top + self.height * (np.arange(self.rows) + 0.5) - 0.5
        x = self.left + self.width * (np.arange(self.columns) + 0.5) - 0.5
        return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _kept_pixels(log_luminance: Array, limit_sd: float, floor: float) -> tuple[NDArray[np.bool_], float]:
    """Return which pixels (blocks, pixels) belong to their block, and the region's robust pixel spread (log units).

    Upper and lower spread are taken apart, since flake is skewed even as a logarithm.
    """
    residual = log_luminance - np.median(log_luminance, axis=1, keepdims=True)
    low, high = np.percentile(residual, [15.87, 84.13])
    keep = (residual < limit_sd * max(high, floor)) & (residual > -limit_sd * max(-low, floor))
    return keep, float(0.5 * (high - low))


def _block_means(linear: Array, keep: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Return mean levels of the kept pixels (blocks, 3) and the share kept in each block (blocks,)."""
    weights = keep.astype(np.float64)
    counts = weights.sum(axis=1)
    level = np.einsum("bp,bpc->bc", weights, linear) / np.maximum(counts, 1.0)[:, None]
    return level, counts / keep.shape[1]


def surface_terms(position: Array) -> Array:
    """Return (n, 6) columns 1, x, y, xy, x2, y2 for positions (n, 2) that are already of the order of one."""
    x, y = position[:, 0], position[:, 1]
    return np.column_stack([np.ones_like(x), x, y, x * y, x * x, y * y])


def _smooth_blocks(position: Array, level: Array, usable: NDArray[np.bool_], rules: SamplingRules) -> NDArray[np.bool_]:
    """Return which blocks lie on a smooth surface through the region.

    Tukey's biweight by iteratively re-weighted least squares (Huber and Ronchetti 2009, Robust Statistics): a reflected
    lamp covers some blocks and pulls an ordinary fit towards itself.
    """
    centre = position[usable].mean(axis=0)
    scale = max(float(np.ptp(position[usable], axis=0).max()) / 2.0, 1.0)
    brightness = np.log(np.maximum(level, 1e-6)) @ LUMINANCE_WEIGHTS
    terms = surface_terms((position - centre) / scale)
    if usable.sum() < 24:
        terms = terms[:, :3]
    if usable.sum() < 6:
        terms = terms[:, :1]
    # Curvature is possible but must be paid for, or a broad reflection would be fitted instead of rejected.
    penalty = np.diag([0.0, 0.0, 0.0, 1.0, 1.0, 1.0][: terms.shape[1]])
    regular = 1e-9 * np.eye(terms.shape[1])
    used = slice(None) if usable.all() else usable
    residual = brightness - np.median(brightness[used])
    for _ in range(20):
        size = max(robust_sd(residual[used]), rules.block_noise_floor)
        weights = np.square(np.maximum(1.0 - np.square(residual / (6.0 * size)), 0.0))
        weights[~usable] = 0.0
        if weights.sum() < terms.shape[1] + 1:
            break
        weighted = (terms * weights[:, None]).T
        coefficients = np.linalg.solve(weighted @ terms + penalty + regular, weighted @ brightness)
        residual = brightness - terms @ coefficients
    size = max(robust_sd(residual[usable]), rules.block_noise_floor)
    smooth = usable & (np.abs(residual) < rules.block_outlier_sd * size)
    if smooth.sum() < 3:
        smooth = usable
    return np.asarray(smooth)
