"""Pictures as PNG files, for pages and commands that read photos."""

import io

import numpy as np
from PIL import Image


def png(codes: np.ndarray, **options: object) -> bytes:
    """Return (h, w, 3) codes of 8 bits as a PNG, not packed: noise takes long to pack and unpack, and stays large."""
    written = io.BytesIO()
    Image.fromarray(np.asarray(codes).astype(np.uint8)).save(written, "PNG", **{"compress_level": 0, **options})
    return written.getvalue()
