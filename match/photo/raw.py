"""Decode camera raw files (DNG and the others LibRaw reads) to linear light, with nothing done for looks.

The sensor's values are scaled by the white balance the camera recorded, interpolated and left linear. The camera's own
colour matrix, which LibRaw would apply with clipping, is applied to each crop in floating point instead.
"""

import io
from typing import Any

import numpy as np

from match.errors import PhotoError
from match.photo.decoded import Decoded, grey_only
from match.photo.encoding import CurvesAndMatrix
from match.photo.exif import ExifFacts, parse
from match.photo.limits import check_picture, damaged

NO_WHITE_BALANCE_NOTE = "The file records no white balance; the camera's daylight setting was used."

_FULL_SCALE = 65535
_BYTES_PER_PX = 6.0


def opened(source: bytes) -> Any | None:
    """Return the file opened by LibRaw with only its header read, or ``None`` when LibRaw does not know it."""
    import rawpy

    raw = rawpy.RawPy()
    try:
        raw.open_buffer(io.BytesIO(source))
    except rawpy.LibRawError:
        raw.close()
        return None
    return raw


def decode(raw: Any, source: bytes) -> Decoded:
    """Decode a file that :func:`opened` recognised, closing it."""
    import rawpy

    try:
        check_picture(raw.sizes.raw_width, raw.sizes.raw_height, len(source), _BYTES_PER_PX)
        if raw.num_colors == 1:
            raise grey_only()
        matrix = _camera_to_srgb(raw)
        exif = _exif(raw, source)
        pixels = raw.postprocess(
            gamma=(1, 1),
            use_camera_wb=True,
            no_auto_bright=True,
            adjust_maximum_thr=0.0,
            output_bps=16,
            output_color=rawpy.ColorSpace.raw,
            demosaic_algorithm=rawpy.DemosaicAlgorithm.LINEAR,
        )
        white_balanced = bool(raw.camera_whitebalance[0] > 0.0)
        sensor_levels = int(raw.white_level) - min(raw.black_level_per_channel)
    except (rawpy.LibRawError, rawpy.NotSupportedError):
        raise damaged() from None
    finally:
        raw.close()
    if pixels.ndim != 3 or pixels.shape[2] != 3 or sensor_levels <= 0:
        raise damaged()
    ramp = np.linspace(0.0, 1.0, _FULL_SCALE + 1)
    name = "camera raw, linear, with the camera's own colour matrix"
    return Decoded(
        format="camera raw",
        pixels=pixels,
        encoding=CurvesAndMatrix(name, np.repeat(ramp[:, np.newaxis], 3, axis=1), matrix),
        bit_depth=sensor_levels.bit_length(),
        full_scale=_FULL_SCALE,
        code_step=1.0 / sensor_levels,
        camera=exif.camera,
        scene_linear=True,
        notes=() if white_balanced else (NO_WHITE_BALANCE_NOTE,),
    )


def _camera_to_srgb(raw: Any) -> Any:
    """Return the 3 x 3 matrix from white-balanced camera RGB to linear sRGB, as LibRaw derives it from the file."""
    matrix = np.asarray(raw.color_matrix, dtype=np.float64)[:, :3]
    if raw.num_colors != 3 or not matrix.any() or np.array_equal(matrix, np.eye(3)):
        raise PhotoError("this camera's raw colours are not known to the program: take the photo as JPEG, or as DNG")
    return matrix


def _exif(raw: Any, source: bytes) -> ExifFacts:
    """Read the camera's name: from the file where it is built like a TIFF, else from the small picture inside it."""
    import rawpy

    if source[:2] in (b"II", b"MM"):
        found = parse(source)
        if found.camera:
            return found
    try:
        thumbnail = raw.extract_thumb()
    except (rawpy.LibRawError, rawpy.NotSupportedError):
        return ExifFacts()
    if thumbnail.format is not rawpy.ThumbFormat.JPEG:
        return ExifFacts()
    start = thumbnail.data.find(b"Exif\0\0")
    return parse(thumbnail.data[start:]) if start >= 0 else ExifFacts()
