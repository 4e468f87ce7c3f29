"""The capture sheet in use, drawn from the same layout as the printed page (SVG, no colour)."""

import numpy as np

from match.photo.regions import Kind
from match.photo.sheet.layout import Marker, SheetLayout, Window, marker_cells

_EDGE_MM = 12.0
_FILLS = {Kind.CARD: "#8d8d8d", Kind.VEHICLE: "#949494", Kind.GREY: "#767676"}
_NAMES = {Kind.CARD: "card", Kind.VEHICLE: "car", Kind.GREY: "grey"}


def sheet_words(layout: SheetLayout) -> str:
    """Say what the picture shows, for a reader who does not see it."""
    cards = len(layout.cards)
    shows = "The spray-out card shows through the middle window" if cards == 1 else f"{cards} cards show in the middle"
    return (
        f"The sheet lies on the panel with a black mark in each corner. {shows}, "
        "the car's paint through a window on either side, the grey card through the window below."
    )


def sheet_picture(layout: SheetLayout) -> str:
    """Return the drawing; the instructions below the marks are left out, as they may be cut off."""
    width, height = layout.frame_width_mm + 2 * _EDGE_MM, layout.instructions_top_mm + 2 * _EDGE_MM
    around = 16.0
    parts = [
        f'<rect x="{-around}" y="{-around}" width="{width + 2 * around}" height="{height + 2 * around}" '
        'fill="#949494"/>',
        f'<rect width="{width}" height="{height}" fill="#fff" stroke="#161616" stroke-width="0.6"/>',
        f'<g transform="translate({_EDGE_MM} {_EDGE_MM})">',
        *(_marker(layout, marker) for marker in layout.markers.values()),
        *(_window(window) for window in layout.windows.values()),
        "</g>",
    ]
    view = f"{-around} {-around} {width + 2 * around} {height + 2 * around}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view}" fill="#161616" font-size="9" '
        f'font-family="Source Sans, Helvetica, Arial, sans-serif">{"".join(parts)}</svg>'
    )


def _marker(layout: SheetLayout, marker: Marker) -> str:
    """Draw a marker row by row, neighbouring black cells as one bar."""
    black = marker_cells(layout.dictionary, marker.identifier)
    cell = layout.marker_side_mm / len(black)
    bars = ""
    for row, cells in enumerate(black):
        edges = np.flatnonzero(np.diff(np.concatenate([[False], cells, [False]]).astype(int)))
        for start, stop in edges.reshape(-1, 2).tolist():
            x, y = marker.left_mm + start * cell, marker.top_mm + row * cell
            bars += f"M{x:.2f} {y:.2f}h{(stop - start) * cell:.2f}v{cell + 0.05:.2f}H{x:.2f}z"
    return f'<path d="{bars}"/>'


def _window(window: Window) -> str:
    x, y, wide, high = window.left_mm, window.top_mm, window.width_mm, window.height_mm
    return (
        f'<rect x="{x}" y="{y}" width="{wide}" height="{high}" fill="{_FILLS[window.shows]}" stroke="#161616" '
        f'stroke-width="0.6"/><text x="{x + wide / 2}" y="{y + high / 2 + 3}" text-anchor="middle" fill="#fff" '
        f'font-weight="600" stroke="#161616" stroke-width="2" paint-order="stroke">{_NAMES[window.shows]}</text>'
    )
