"""The capture sheet as a PDF page, true to scale: four markers around windows for card, paint and grey card."""

from io import BytesIO
from typing import Any

import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from match.errors import MatchError
from match.photo.sheet.layout import SheetLayout, Window, marker_cells

SUBJECT = "a capture sheet of Spray-out Match"
"""By this a sheet is known for one when it is to be written over."""

FONT, BOLD = "Helvetica", "Helvetica-Bold"
TEXT_PT, LEADING_PT = 8.4, 10.4

STEPS = (
    'Print at 100 % ("actual size", not "fit to page") on matte paper. Black and white is enough.',
    "Check both rulers with a real ruler. If one is wrong, print again at 100 %.",
    "Cut out the four striped windows. Leave the black marks whole, with the white around them.",
    "Lay the sheet flat on the clean, dry panel. Low-tack tape at its edges holds it.",
    "Slide the dry spray-out card under the middle window, and your grey card under the grey window.",
    "Take the photo with all four marks sharp and no lamp or bright sky mirrored in a window.",
    "Take three photos. Lift the card and lay it down again before each one.",
)
STEPS_OF_SEVERAL = (
    *STEPS[:2],
    "Cut out the striped windows; leave a card's window that you do not need uncut. Leave the black marks whole.",
    STEPS[3],
    "Slide each dry card under its window, the lower one over the one above, and your grey card under the grey window.",
    *STEPS[5:],
)
WARNING = "Printed paper is no colour reference: use your own grey card in the grey window."


def steps_of(layout: SheetLayout) -> tuple[str, ...]:
    """Return what to do with the sheet, in order; as many steps for every layout."""
    return STEPS if len(layout.cards) == 1 else STEPS_OF_SEVERAL


def capture_sheet_pdf(layout: SheetLayout, paper: str = "a4") -> bytes:
    """Return the capture sheet as a PDF of one page on ``paper``, a name in ``layout.papers``.

    Raises :class:`MatchError` for a paper that is not known or is smaller than the frame.
    """
    if paper not in layout.papers:
        raise MatchError(f"the sheet cannot be printed on {paper!r}: choose {' or '.join(layout.papers)}")
    size = layout.papers[paper]
    left_mm = (size.width_mm - layout.frame_width_mm) / 2
    top_mm = (size.height_mm - layout.frame_height_mm) / 2
    if min(left_mm, top_mm) < 0:
        raise MatchError(f"the sheet does not fit on {size.label}: choose a larger paper, or correct capture.toml")
    page = BytesIO()
    canvas = Canvas(page, pagesize=(size.width_mm * mm, size.height_mm * mm), invariant=1)
    canvas.setTitle("Capture sheet")
    canvas.setSubject(SUBJECT)
    canvas.translate(left_mm * mm, (size.height_mm - top_mm) * mm)
    _draw_heading(canvas, layout)
    for marker in layout.markers.values():
        _draw_marker(canvas, layout, marker.identifier, marker.left_mm, marker.top_mm)
    for window in layout.windows.values():
        _draw_window(canvas, layout, window)
    _draw_instructions(canvas, layout, size.label)
    _draw_rulers(canvas, layout)
    canvas.showPage()
    canvas.save()
    return page.getvalue()


def _draw_heading(canvas: Any, layout: SheetLayout) -> None:
    middle = layout.frame_width_mm / 2
    canvas.setFont(BOLD, 17)
    canvas.drawCentredString(middle * mm, -10 * mm, "Capture sheet")
    canvas.setFont(FONT, 8.5)
    what = "spray-out card" if len(layout.cards) == 1 else "spray-out cards"
    canvas.drawCentredString(middle * mm, -15.5 * mm, f"{what} beside the car, with a grey card")
    canvas.setFont(BOLD, 10)
    canvas.drawCentredString(middle * mm, -24 * mm, "TOP")
    arrow = canvas.beginPath()
    for number, (x, y) in enumerate(((-9, -24), (-6.5, -20.5), (-4, -24), (9, -24), (6.5, -20.5), (4, -24))):
        step = arrow.moveTo if number % 3 == 0 else arrow.lineTo
        step((middle + x * 1.3) * mm, y * mm)
        if number % 3 == 2:
            arrow.close()
    canvas.drawPath(arrow, stroke=0, fill=1)


def _draw_marker(canvas: Any, layout: SheetLayout, identifier: int, left_mm: float, top_mm: float) -> None:
    """Fill every black cell in one path: cells filled one by one would show white hairlines between them."""
    black = marker_cells(layout.dictionary, identifier)
    cell = layout.marker_side_mm / black.shape[0]
    path = canvas.beginPath()
    for row, column in np.argwhere(black):
        path.rect((left_mm + column * cell) * mm, -(top_mm + (row + 1) * cell) * mm, cell * mm, cell * mm)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)


def _draw_window(canvas: Any, layout: SheetLayout, window: Window) -> None:
    """Outline the cut, fill it with the stripes that tell an uncut window on a photo, and label it."""
    x, y = window.left_mm * mm, -(window.top_mm + window.height_mm) * mm
    width, height = window.width_mm * mm, window.height_mm * mm
    canvas.saveState()
    canvas.setFillGray(0)
    clip = canvas.beginPath()
    clip.rect(x, y, width, height)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.drawPath(_stripes(canvas, layout, window), stroke=0, fill=1)
    canvas.restoreState()
    canvas.setLineWidth(0.3 * mm)
    canvas.rect(x, y, width, height, stroke=1, fill=0)
    canvas.setFont(BOLD, 8.5)
    canvas.drawCentredString(x + width / 2, y + height + 2 * mm, window.label)
    canvas.setFont(FONT, 6.5)
    canvas.drawCentredString(x + width / 2, y - 3.2 * mm, "cut out")


def _stripes(canvas: Any, layout: SheetLayout, window: Window) -> Any:
    """Return stripes over the window where :func:`match.photo.sheet.layout.hatch_mm` is true; they need clipping."""
    root = np.sqrt(2.0)
    top, bottom = window.top_mm, window.top_mm + window.height_mm
    first = np.floor((window.left_mm - bottom) / root / layout.hatch_period_mm)
    last = np.ceil((window.left_mm + window.width_mm - top) / root / layout.hatch_period_mm)
    path = canvas.beginPath()
    for number in np.arange(first, last + 1):
        start = number * layout.hatch_period_mm * root
        end = start + layout.hatch_line_mm * root
        path.moveTo((start + top) * mm, -top * mm)
        path.lineTo((end + top) * mm, -top * mm)
        path.lineTo((end + bottom) * mm, -bottom * mm)
        path.lineTo((start + bottom) * mm, -bottom * mm)
        path.close()
    return path


def _draw_instructions(canvas: Any, layout: SheetLayout, paper: str) -> None:
    top = layout.instructions_top_mm
    canvas.saveState()
    canvas.setLineWidth(0.2 * mm)
    canvas.setDash(2 * mm, 1.5 * mm)
    canvas.line(0, -top * mm, layout.frame_width_mm * mm, -top * mm)
    canvas.restoreState()
    canvas.setFont(FONT, 6.5)
    canvas.drawString(0, -(top + 3) * mm, f"This strip may be cut off. {paper}, all lengths in millimetres.")
    canvas.setFont(BOLD, 9.5)
    y = -(top + 8) * mm
    canvas.drawString(0, y, WARNING)
    y -= LEADING_PT * 1.2
    for number, step in enumerate(steps_of(layout), start=1):
        canvas.setFont(BOLD, TEXT_PT)
        canvas.drawString(0, y, f"{number}.")
        canvas.setFont(FONT, TEXT_PT)
        canvas.drawString(4 * mm, y, step)
        y -= LEADING_PT


def _draw_rulers(canvas: Any, layout: SheetLayout) -> None:
    """Draw a ruler across and one down, since a printer can stretch one way only."""
    bottom = -(layout.frame_height_mm - 2) * mm
    _draw_ruler(canvas, 0, bottom, layout.ruler_across_mm, across=True)
    right = layout.frame_width_mm * mm
    _draw_ruler(canvas, right, bottom, layout.ruler_down_mm, across=False)


def _draw_ruler(canvas: Any, x: float, y: float, length_mm: float, *, across: bool) -> None:
    """Draw a line from (x, y) to the right or upwards with a tick every millimetre, longer every 5 and 10."""
    canvas.saveState()
    canvas.translate(x, y)
    if not across:
        canvas.rotate(90)
    canvas.setLineWidth(0.15 * mm)
    canvas.line(0, 0, length_mm * mm, 0)
    canvas.setFont(FONT, 6)
    for tick in range(int(length_mm) + 1):
        height = 3.5 if tick % 10 == 0 else 2.5 if tick % 5 == 0 else 1.5
        canvas.line(tick * mm, 0, tick * mm, height * mm)
        if tick % 10 == 0 and tick < length_mm:
            canvas.drawString((tick + 0.5) * mm, 2.4 * mm, str(tick))
    canvas.drawString((length_mm + 1) * mm, 0.8 * mm, f"{length_mm:.0f} mm")
    canvas.restoreState()
