"""The job sheet: one job on paper, with the colours, the verdict, the plan to scale, the steps and the cautions.

Made to be read in black and white: every zone has an outline and words, and every swatch its numbers.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pixels
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Image, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from match.blend.plan import AreaPlan
from match.blend.plan_figure_pdf import PlanFigure
from match.blend.step_words import StepText
from match.colorimetry import srgb_from_lab
from match.errors import MatchError
from match.letters_pdf import BOLD, REGULAR, printable
from match.words import INVENTED

SUBJECT = "a job sheet of Spray-out Match"
"""By this a sheet is known for one when it is to be written over."""

PAGES = {"A4": A4, "Letter": letter}
MARGIN = 12 * mm
BOXES_ACROSS = 8
"""Engineering choice: two centimetres a box on A4, and one row for most photos."""

INK = colors.HexColor("#1f1f1f")
MUTED = colors.HexColor("#555555")
BODY = ParagraphStyle("body", fontName=REGULAR, fontSize=8.7, leading=10.4, textColor=INK)
SMALL = ParagraphStyle("small", parent=BODY, fontSize=8, leading=10, textColor=MUTED)
HEAD = ParagraphStyle("head", parent=BODY, fontName=BOLD, fontSize=11.5, leading=15, spaceBefore=7)
TITLE = ParagraphStyle("title", parent=HEAD, fontSize=17, leading=21, spaceBefore=0)
VERDICT = ParagraphStyle("verdict", parent=HEAD, fontSize=15, leading=19, spaceBefore=0)
STEP = ParagraphStyle("step", parent=BODY, leftIndent=16, firstLineIndent=-16, spaceAfter=1.5)


@dataclass(frozen=True)
class Swatch:
    """A colour to show: what it is, and its CIELAB (D65, 2 degree)."""

    label: str
    lab: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Measured:
    """A box that was measured: its name on the photo, and its cut-out (rows, columns, 3) in 8 bits of sRGB."""

    name: str
    picture: NDArray[np.uint8]


@dataclass(frozen=True)
class JobSheetContent:
    """Everything printed, as plain values; empty texts and tuples leave their part out.

    Attributes
    ----------
    heading : what this sheet is for: the person's own words for car, panel and colour
    date : as it should be printed
    swatches : the card and the vehicle, shown touching; more pairs may follow
    verdict, sureness : in words
    reasons, remarks : sentences in order
    steps : the job in the order of doing; the cautions are one of them
    steps_heading : what stands above them
    rests_on : what their figures rest on, in a sentence
    areas : the plan, drawn to scale where there is one
    side_lines : what is done on its sides, in sentences
    measured : the boxes that were measured, as :func:`match.photo.cut_outs.cut_outs` shows them
    inches : whether lengths in the drawing are printed in inches
    invented : True marks the sheet as an invented demonstration
    """

    heading: str
    date: str
    swatches: tuple[Swatch, ...]
    verdict: str
    sureness: str
    reasons: tuple[str, ...] = ()
    areas: tuple[AreaPlan, ...] = ()
    side_lines: tuple[tuple[str, ...], ...] = ()
    steps: tuple[StepText, ...] = ()
    steps_heading: str = ""
    rests_on: str = ""
    remarks: tuple[str, ...] = ()
    measured: tuple[Measured, ...] = ()
    inches: bool = False
    invented: bool = False


def job_sheet(content: JobSheetContent, page: str = "A4") -> bytes:
    """Return the job sheet as a PDF.

    Raises :class:`MatchError` for another page size.

    Parameters
    ----------
    content : everything to print; the same content gives the same bytes
    page : "A4" or "Letter"
    """
    if page not in PAGES:
        raise MatchError(f"the page size {page!r} is not known: choose A4 or Letter")
    target = BytesIO()
    document = SimpleDocTemplate(
        target,
        pagesize=PAGES[page],
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN + 6 * mm,
        title=content.heading,
        author="Spray-out Match",
        subject=SUBJECT,
        invariant=1,
    )
    document.build(_story(content, document.width), onFirstPage=_footer, onLaterPages=_footer)
    return target.getvalue()


def _story(content: JobSheetContent, width: float) -> list[Flowable]:
    story: list[Flowable] = [Paragraph("Job sheet", TITLE), _line(content.heading, BODY), _line(content.date, SMALL)]
    if content.invented:
        story.append(_line(INVENTED, HEAD))
    story += [Spacer(1, 5), *_measured(content.measured, width), _swatches(content.swatches, width), Spacer(1, 7)]
    story.append(_verdict(content, width))
    story += _section("Why", content.reasons)
    story += _section("Remarks", content.remarks)
    if content.areas:
        figure = PlanFigure(content.areas, content.inches, width)
        story.append(KeepTogether([Paragraph("The plan, to scale", HEAD), Spacer(1, 3), figure]))
    for lines in content.side_lines:
        story.append(KeepTogether([_line(line, BODY) for line in lines] + [Spacer(1, 3)]))
    story += _steps(content)
    story.append(_signature(width, "More remarks" if content.remarks else "Remarks"))
    return story


def _line(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(printable(text)), style)


def _section(title: str, lines: Sequence[str]) -> list[Flowable]:
    if not lines:
        return []
    body = [_line(text, BODY) for text in lines]
    return [KeepTogether([Paragraph(title, HEAD), body[0]]), *body[1:]]


def _steps(content: JobSheetContent) -> list[Flowable]:
    """Return one paragraph a step; its number and title are bold, to be found again at arm's length."""
    if not content.steps:
        return []
    body, set_up, before = [], "", None
    for number, step in enumerate(content.steps, start=1):
        alike = before is not None and (before.deed, before.lines) == (step.deed, step.lines)
        words = ["As the step before."] if alike else list(step.lines)
        before = step
        if step.set_up and step.set_up != set_up:  # the same set-up is not said again
            words.append(step.set_up)
            set_up = step.set_up
        title, told = escape(printable(step.title)), escape(printable(" ".join(words)))
        body.append(Paragraph(f'<font name="{BOLD}">{number}. {title}.</font> {told}', STEP))
    return [
        KeepTogether([_line(content.steps_heading, HEAD), _line(content.rests_on, SMALL), body[0]]),
        *body[1:],
    ]


def _verdict(content: JobSheetContent, width: float) -> Table:
    table = Table([[_line(content.verdict, VERDICT)], [_line(content.sureness, BODY)]], colWidths=[width])
    table.setStyle(
        TableStyle(
            [
                ("BOX", (0, 0), (-1, -1), 1.5, INK),
                ("LEFTPADDING", (0, 0), (-1, -1), 8),
                ("BOTTOMPADDING", (0, 1), (-1, 1), 6),
            ]
        )
    )
    return table


def _measured(boxes: Sequence[Measured], width: float) -> list[Flowable]:
    """Show every box under its name, :data:`BOXES_ACROSS` in a row, on the grey that they were cut out on."""
    if not boxes:
        return []
    side = width / BOXES_ACROSS
    rows: list[list[Flowable | str]] = []
    for start in range(0, len(boxes), BOXES_ACROSS):
        row = boxes[start : start + BOXES_ACROSS]
        gap = [""] * (BOXES_ACROSS - len(row))
        rows.append([*(_line(box.name, SMALL) for box in row), *gap])
        rows.append([*(_picture(box.picture, side - 6) for box in row), *gap])
    table = Table(rows, colWidths=[side] * BOXES_ACROSS, hAlign="LEFT")
    table.setStyle(TableStyle([("LEFTPADDING", (0, 0), (-1, -1), 0), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]))
    return [KeepTogether([Paragraph("What was measured", HEAD), Spacer(1, 2), table]), Spacer(1, 5)]


def _picture(picture: NDArray[np.uint8], side: float) -> Image:
    packed = BytesIO()
    Pixels.fromarray(picture).save(packed, "PNG")
    packed.seek(0)
    return Image(packed, width=side, height=side * picture.shape[0] / picture.shape[1])


def _swatches(swatches: Sequence[Swatch], width: float) -> Table:
    """Colours side by side with no line between, as they would meet; their numbers serve a black-and-white print."""
    if not swatches:
        return Table([[_line("no colours measured", SMALL)]], colWidths=[width])
    words = [
        _line(f"{s.label}: L* {s.lab[0]:.1f}, a* {s.lab[1]:.1f}, b* {s.lab[2]:.1f} (D65, 2 degree)", SMALL)
        for s in swatches
    ]
    table = Table(
        [["" for _ in swatches], words], colWidths=[width / len(swatches)] * len(swatches), rowHeights=[34, None]
    )
    fills = [("BACKGROUND", (i, 0), (i, 0), _screen_colour(s.lab)) for i, s in enumerate(swatches)]
    table.setStyle(TableStyle([*fills, ("LEFTPADDING", (0, 1), (-1, 1), 2), ("VALIGN", (0, 1), (-1, 1), "TOP")]))
    return table


def _screen_colour(lab: tuple[float, float, float]) -> colors.Color:
    red, green, blue = (float(value) for value in srgb_from_lab(np.array(lab, dtype=np.float64)))
    return colors.Color(red, green, blue)


def _signature(width: float, first: str) -> KeepTogether:
    rows = [[first, ""], ["", ""], ["Done by, date, signature", ""]]
    table = Table(rows, colWidths=[0.28 * width, 0.72 * width], rowHeights=[18, 18, 22])
    table.setStyle(
        TableStyle(
            [
                ("FONT", (0, 0), (-1, -1), REGULAR, 9),
                ("TEXTCOLOR", (0, 0), (-1, -1), MUTED),
                ("LINEBELOW", (1, 0), (1, -1), 0.6, MUTED),
                ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
            ]
        )
    )
    return KeepTogether([Spacer(1, 10), table])


def _footer(canvas: Any, document: Any) -> None:
    canvas.saveState()
    canvas.setFont(REGULAR, 8)
    canvas.setFillColor(MUTED)
    canvas.drawString(
        MARGIN, MARGIN, "The product's technical data sheet and local rules come first. The painter decides."
    )
    canvas.drawRightString(document.pagesize[0] - MARGIN, MARGIN, f"page {canvas.getPageNumber()}")
    canvas.restoreState()
