"""Labels for the cards in the drawer as a PDF, black on white: a sheet of stickers, or plain paper to cut."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from match import calibration
from match.calibration import quantity
from match.errors import MatchError
from match.history.labels import Label
from match.letters_pdf import BOLD, REGULAR, printable
from match.qr_code import MOST_BYTES, QUIET_ZONE, qr_squares

SUBJECT = "card labels of Spray-out Match"
"""By this a file is known for one when it is to be written over."""

TITLE_PT, TEXT_PT, LEADING = 9.0, 7.5, 1.22
SHORTENED = "…"


@dataclass(frozen=True)
class StickerSheet:
    """A grid of labels on a paper."""

    label: str
    paper: str
    cut_lines: bool
    columns: float = quantity("count")
    rows: float = quantity("count")
    width_mm: float = quantity("mm")
    height_mm: float = quantity("mm")
    left_mm: float = quantity("mm")
    top_mm: float = quantity("mm")
    pitch_across_mm: float = quantity("mm")
    pitch_down_mm: float = quantity("mm")

    @property
    def count(self) -> int:
        """How many labels are on a sheet."""
        return int(self.columns) * int(self.rows)


@dataclass(frozen=True)
class PaperSize:
    """A paper."""

    width_mm: float = quantity("mm")
    height_mm: float = quantity("mm")


@dataclass(frozen=True)
class LabelSheets:
    """``calibration/labels.toml``."""

    sheets: dict[str, StickerSheet]
    papers: dict[str, PaperSize]
    quiet_mm: float = quantity("mm")
    clear_mm: float = quantity("mm")
    code_mm: float = quantity("mm")


@dataclass(frozen=True)
class Margins:
    """What a label leaves clear along its sides, mm."""

    left: float
    right: float
    top: float
    bottom: float


def margins(known: LabelSheets, grid: StickerSheet, row: int, column: int) -> Margins:
    """Return what is left clear of the label at this place: more where it lies at the edge of the paper."""
    paper = known.papers[grid.paper]
    left = grid.left_mm + column * grid.pitch_across_mm
    top = grid.top_mm + row * grid.pitch_down_mm
    beside = (left, paper.width_mm - left - grid.width_mm, top, paper.height_mm - top - grid.height_mm)
    return Margins(*(max(known.quiet_mm, known.clear_mm - to_edge) for to_edge in beside))


def load_label_sheets() -> LabelSheets:
    """Read the sheets, the user's own copy first."""
    return calibration.load(LabelSheets, "labels", "labels")


def labels_pdf(labels: Sequence[Label], known: LabelSheets, sheet: str, used: int = 0) -> bytes:
    """Return the labels as a PDF.

    Raises :class:`MatchError` when there is no such sheet, no label to print, none left on the first sheet, or an
    address is too long.

    Parameters
    ----------
    labels : in the order of printing, from the top left, row by row
    known : the sheets
    sheet : the name of one of them
    used : labels that are gone from the first sheet
    """
    if sheet not in known.sheets:
        raise MatchError(f"there is no sheet {sheet!r}: choose one of {', '.join(known.sheets)}")
    grid = known.sheets[sheet]
    if not labels:
        raise MatchError("there is no card to print a label for: note a spray-out card with a check first")
    if any(len(label.address.encode()) > MOST_BYTES for label in labels):
        raise MatchError("the app's address is too long for a code: give one like http://192.168.1.20:8502")
    if not 0 <= used < grid.count:
        raise MatchError(f"{used} labels of a sheet of {grid.count} cannot be used up: give 0 to {grid.count - 1}")
    paper, page = known.papers[grid.paper], BytesIO()
    canvas = Canvas(page, pagesize=(paper.width_mm * mm, paper.height_mm * mm), invariant=1)
    canvas.setTitle("Labels for spray-out cards")
    canvas.setSubject(SUBJECT)
    for number, label in enumerate(labels, used):
        if number > used and number % grid.count == 0:
            canvas.showPage()
        row, column = divmod(number % grid.count, int(grid.columns))
        left = grid.left_mm + column * grid.pitch_across_mm
        bottom = paper.height_mm - grid.top_mm - row * grid.pitch_down_mm - grid.height_mm
        canvas.saveState()
        canvas.translate(left * mm, bottom * mm)
        _draw(canvas, label, grid, margins(known, grid, row, column), known.code_mm)
        canvas.restoreState()
    canvas.showPage()
    canvas.save()
    return page.getvalue()


def _draw(canvas: Any, label: Label, grid: StickerSheet, clear: Margins, code_mm: float) -> None:
    """Draw one label, its lower left corner at the origin."""
    if grid.cut_lines:
        canvas.setLineWidth(0.3)
        canvas.rect(0, 0, grid.width_mm * mm, grid.height_mm * mm)
    side = min(code_mm, grid.height_mm - clear.top - clear.bottom)
    left, bottom = grid.width_mm - clear.right - side, grid.height_mm - clear.top - side
    _draw_code(canvas, label.address, left * mm, bottom * mm, side * mm)
    room_pt = (left - clear.left - 1) * mm
    y = (grid.height_mm - clear.top) * mm
    for words, font, size, most in _lines(label):
        for line in fitted(words, font, size, room_pt, most):
            y -= size
            if y < clear.bottom * mm:
                return
            canvas.setFont(font, size)
            canvas.drawString(clear.left * mm, y, line)
            y -= size * (LEADING - 1)


def _lines(label: Label) -> Iterator[tuple[str, str, float, int]]:
    """Yield words, typeface, size and most lines: what is needed most first, since a low label has no room for all."""
    lines = (
        (label.colour, BOLD, TITLE_PT, 2),
        (label.code, BOLD, TITLE_PT, 1),
        (label.verdict, BOLD, TEXT_PT, 1),
        (f"Where: {label.place}" if label.place else "", BOLD, TEXT_PT, 1),
        (label.day + (f", coats: {label.coats}" if label.coats else ""), REGULAR, TEXT_PT, 1),
        (f"Gun: {label.gun}" if label.gun else "", REGULAR, TEXT_PT, 1),
        (label.mix, REGULAR, TEXT_PT, 2),
    )
    yield from (line for line in lines if line[0])


def fitted(words: str, font: str, size: float, room_pt: float, most: int = 1) -> list[str]:
    """Return text in at most so many lines that fit, what does not fit shortened, and no line for nothing."""
    lines = simpleSplit(printable(words), font, size, room_pt)
    told = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [_shortened(line, font, size, room_pt) for line in told if line]


def _shortened(told: str, font: str, size: float, room_pt: float) -> str:
    if stringWidth(told, font, size) <= room_pt:
        return told
    counts = range(1, len(told) + 1)
    fit = bisect_right(counts, room_pt, key=lambda count: stringWidth(told[:count] + SHORTENED, font, size))
    return told[:fit].rstrip() + SHORTENED


def _draw_code(canvas: Any, text: str, left: float, bottom: float, side: float) -> None:
    """Draw the code with its quiet zone into a square, in points."""
    squares = qr_squares(text)
    unit = side / (len(squares) + 2 * QUIET_ZONE)
    path = canvas.beginPath()
    for row, line in enumerate(squares[::-1]):
        for column, dark in enumerate(line):
            if dark:
                path.rect(left + (QUIET_ZONE + column) * unit, bottom + (QUIET_ZONE + row) * unit, unit, unit)
    canvas.drawPath(path, stroke=0, fill=1)
