"""What each pixel shows, layer on layer: body colour, tilt, gloss and the shadows on it.

Whole-frame arrays are single precision: an eight-bit photo needs no more, and the benchmark renders hundreds.
"""

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from match.demo.scene.layout import Frame, Rectangle

Pixels = NDArray[np.float32]
Window = tuple[slice, slice]

WHOLE: Window = (slice(None), slice(None))


class Material(IntEnum):
    """What covers most of a pixel."""

    VEHICLE = 0
    GAP = 1
    MASKING = 2
    CARD = 3
    TAB = 4
    GREY_BOARD = 5
    GREY = 6  # and upwards: one number a patch


class Canvas:
    """Arrays over the frame that layers are laid on.

    Attributes
    ----------
    body : (lamps, h, w, 3) camera values of the material under each lamp, for a unit of light
    tilt_x, tilt_y : (h, w) degrees
    gloss : (h, w) 1 where there is clear coat, 0 where matte
    light : (h, w) factor from shadows
    flake : (h, w) 1 where the paint has flake
    material : (h, w) number of what covers most of the pixel
    """

    def __init__(self, frame: Frame, lamps: int) -> None:
        """Start with nothing anywhere."""
        shape = (frame.y.size, frame.x.size)
        self.frame = frame
        self.body = np.zeros((lamps, *shape, 3), dtype=np.float32)
        self.tilt_x = np.zeros(shape, dtype=np.float32)
        self.tilt_y = np.zeros(shape, dtype=np.float32)
        self.gloss = np.zeros(shape, dtype=np.float32)
        self.light = np.ones(shape, dtype=np.float32)
        self.flake = np.zeros(shape, dtype=np.float32)
        self.material = np.zeros(shape, dtype=np.uint8)

    def lay(
        self,
        window: Window,
        cover: Pixels,
        body: Pixels,
        tilt: tuple[Pixels | float, Pixels | float] | None,
        material: int,
        gloss: float = 0.0,
        flake: float = 0.0,
    ) -> None:
        """Lay a material over a window.

        Parameters
        ----------
        cover : (h', w') share of each pixel it covers, 0..1
        body : (lamps, 3) or (lamps, h', w', 3)
        tilt : degrees (x, y), or None to keep what is below
        """
        for below, lamp_body in zip(self.body, body, strict=True):
            view = below[window]
            view += cover[..., None] * (lamp_body - view)
        if tilt is not None:
            for array, value in ((self.tilt_x, tilt[0]), (self.tilt_y, tilt[1])):
                _mix(array[window], cover, value)
        _mix(self.gloss[window], cover, gloss)
        _mix(self.flake[window], cover, flake)
        self.material[window][cover > 0.5] = material

    def lay_rectangle(self, rectangle: Rectangle, body: Pixels, material: int) -> None:
        """Print a sharp-edged rectangle of one matte body colour, with pixels at its edge covered in part."""
        window = rectangle.window(self.frame, 2 / self.frame.width_px)
        self.lay(window, cover_of(rectangle, self.frame, window), body, None, material)

    def shade(self, rectangle: Rectangle, depth: float, softness: float) -> None:
        """Take light away under a soft-edged rectangle: ``depth`` 0..1, ``softness`` in frame widths."""
        window = rectangle.window(self.frame, 3 * softness)
        distance = rectangle.distance(self.frame, window) / np.float32(softness)
        self.light[window] *= 1 - np.float32(depth) / (1 + np.exp(np.clip(4 * distance, -30, 30)))


def cover_of(rectangle: Rectangle, frame: Frame, window: Window) -> Pixels:
    """Return the share of each pixel (h', w') that a rectangle covers, from the distance to its outline."""
    covered = np.float32(0.5) - rectangle.distance(frame, window) * np.float32(frame.width_px)
    return np.asarray(np.clip(covered, 0, 1), dtype=np.float32)


def _mix(array: Pixels, cover: Pixels, value: Pixels | float) -> None:
    array += cover * (value - array)
