"""QR codes (ISO/IEC 18004) of short texts: as squares to print, and as a picture.

Reportlab's encoder only computes; the printed sheets are made with the same library.
"""

import numpy as np
from numpy.typing import NDArray
from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

QUIET_ZONE = 4
"""Light squares around a code: ISO/IEC 18004:2015, section 6.3.8."""

MOST_BYTES = 500
"""Engineering choice: an address has some 60; a code of more is too fine to be read from a screen or a label."""


def qr_squares(text: str) -> NDArray[np.bool_]:
    """Return the squares of a code for ``text``, (rows, columns), True for dark, without the quiet zone.

    Error correction M: 15 % of it may be unreadable. Raises ``ValueError`` for more than :data:`MOST_BYTES`.
    """
    if len(text.encode("utf-8")) > MOST_BYTES:
        raise ValueError(f"a QR code of more than {MOST_BYTES} bytes cannot be read from a label")
    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(text)
    code.make()
    return np.array(code.modules, dtype=np.bool_)


def qr_picture(text: str) -> str:
    """Return the code for ``text`` as SVG, one unit a square, dark on white with its quiet zone."""
    squares = qr_squares(text)
    side = len(squares) + 2 * QUIET_ZONE
    runs = "".join(
        f"M{QUIET_ZONE + start} {QUIET_ZONE + row}h{end - start}v1h{start - end}z"
        for row, line in enumerate(squares)
        for start, end in _runs(line)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" shape-rendering="crispEdges">'
        f'<rect width="{side}" height="{side}" fill="#fff"/><path d="{runs}" fill="#000"/></svg>'
    )


def _runs(line: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return beginning and end of each run of dark squares."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], line, [False])).astype(np.int8)))
    return [(int(start), int(end)) for start, end in zip(edges[::2], edges[1::2], strict=True)]
