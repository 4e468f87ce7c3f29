"""The job sheet: what must be on paper, at the right size, and without breaking on anyone's words."""

import base64
import re
import shutil
import subprocess
import zlib
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from reportlab.pdfgen.canvas import Canvas

from match.blend.clear import Clear, ClearEnd
from match.blend.job_sheet_pdf import JobSheetContent, Measured, Swatch, job_sheet
from match.blend.options import Way
from match.blend.plan import AreaPlan
from match.blend.plan_figure_pdf import SHARES, PlanFigure
from match.blend.side_plan import Fade, SidePlan
from match.blend.sides import Direction, Repair, Side
from match.blend.step import Deed
from match.blend.step_words import StepText
from match.errors import MatchError


def area_of(width_mm, height_mm, *sides):
    """Return a plan as the sheet draws it; each side is (direction, room, lines, full to, faded by)."""
    told = [(Side(way, room, lines_mm=lines), covers, fades) for way, room, lines, covers, fades in sides]
    plans = tuple(
        SidePlan(
            side,
            Way.FADE,
            covers_to_mm=covers,
            fades_to_mm=fades,
            onto_next_mm=0.0,
            stop=None,
            left_delta_e00=0.0,
            objecting=0.0,
            fade=Fade(np.array([covers, fades + 1e-9]), np.array([1.0, 0.0]), 0.0, ()),
            clear=Clear(None, ClearEnd.OPEN, 0.0),
            hides=np.array([True]),
            hides_probability=1.0,
            largest_delta_e00=9.0,
            largest_without_fade=1.0,
        )
        for side, covers, fades in told
    )
    return AreaPlan(Repair(width_mm, height_mm, tuple(side for side, *_ in told)), plans)


CONTENT = JobSheetContent(  # an invented job
    heading="Invented wing, mid blue",
    date="first of May",
    swatches=(Swatch("card", (47.0, 8.0, -20.0)), Swatch("car", (45.0, 8.0, -20.0))),
    verdict="Blend",
    sureness="92 % sure",
    reasons=("The card is lighter by 2.0.",),
    areas=(
        area_of(300.0, 200.0, (Direction.LEFT, 400.0, (), 70.0, 240.0), (Direction.UP, 250.0, (30.0,), 30.0, 30.0)),
    ),
    side_lines=(("To the left: fade.",), ("Upwards: stop the colour at a line.",)),
    steps=(
        StepText(Deed.PROTECT, "Protect yourself", ("Use a supplied-air respirator.",)),
        StepText(Deed.MIX_BASE, "Mix the colour", ("60 ml base and 60 ml reducer.",)),
    ),
    steps_heading="Not to be sprayed yet",
    invented=True,
)


def page_text(pdf):
    pieces = []
    for body in re.findall(rb"stream\r?\n(.*?)endstream", pdf, flags=re.DOTALL):
        if not body.strip().endswith(b"~>"):
            continue  # the typeface
        content = zlib.decompress(base64.a85decode(body.strip().removesuffix(b"~>")))
        pieces += re.findall(rb"\((.*?)(?<!\\)\) Tj", content, flags=re.DOTALL)
    return b" ".join(pieces).decode("latin-1").replace("\\(", "(").replace("\\)", ")")


def page_sizes(pdf):
    return {
        tuple(float(v) for v in box.split()) for box in re.findall(r"/MediaBox \[ ([\d. ]+) \]", pdf.decode("latin-1"))
    }


# ISO 216: A4 is 210 by 297 mm; ANSI: Letter is 8.5 by 11 in; a point is 1/72 in
@pytest.mark.parametrize(("page", "points"), [("A4", (595.276, 841.890)), ("Letter", (612.0, 792.0))])
def test_the_sheet_has_the_standards_page_size(page, points):
    sizes = page_sizes(job_sheet(CONTENT, page))
    assert len(sizes) == 1
    assert next(iter(sizes))[2:] == pytest.approx(points, abs=0.01)


def test_all_that_matters_is_on_the_paper():
    text = page_text(job_sheet(CONTENT))
    for words in (
        "Invented wing, mid blue",
        "Invented demonstration",
        "Blend",
        "92 % sure",
        "L* 47.0, a* 8.0, b* -20.0",
        "lighter by 2.0",
        "fade to 240 mm",
        "stop at 30 mm",
        "repair",
        "Not to be sprayed yet",
        "Mix the colour",
        "60 ml base",
        "supplied-air respirator",
        "Remarks",
        "signature",
        "technical data sheet",
        "page 1",
    ):
        assert words in text, words


def test_cautions_come_before_the_steps():
    text = page_text(job_sheet(CONTENT))
    assert text.index("supplied-air respirator") < text.index("Mix the colour")


def test_lengths_in_the_drawing_follow_the_unit():
    text = page_text(job_sheet(replace(CONTENT, inches=True)))
    assert "fade to 9 1/2 in" in text
    assert "fade to 240 mm" not in text


def test_the_same_content_gives_the_same_bytes():
    assert job_sheet(CONTENT) == job_sheet(CONTENT)


@pytest.mark.parametrize(
    "words", ["<b>&\"'</b> </para>", "\u0421\u0438\u043d\u0438\u0439 \u84dd \U0001f697", "x" * 900, ""]
)
def test_any_words_can_be_printed(words):
    pdf = job_sheet(
        replace(CONTENT, heading=words, date=words, reasons=(words,), steps=(StepText(Deed.TACK, words, (words,)),))
    )
    assert pdf.startswith(b"%PDF")


def test_a_sheet_without_plan_colours_or_steps_is_still_a_sheet():
    bare = JobSheetContent("job", "", (), "Retake", "cannot be told")
    text = page_text(job_sheet(bare))
    assert "Retake" in text
    assert "The plan" not in text


def test_many_steps_run_over_several_pages():
    pdf = job_sheet(replace(CONTENT, steps=CONTENT.steps * 90))
    assert "page 4" in page_text(pdf)


def test_an_unknown_page_size_is_refused_in_one_sentence():
    with pytest.raises(MatchError, match="choose A4 or Letter"):
        job_sheet(CONTENT, "A5")


class RecordedCanvas(Canvas):
    """A canvas that keeps the rectangles drawn on it: x, y, width, height in points."""

    def __init__(self):
        super().__init__(BytesIO())
        self.boxes = []

    def rect(self, x, y, width, height, **rest):
        self.boxes.append((x, y, width, height))
        super().rect(x, y, width, height, **rest)


@pytest.mark.parametrize("room", [20.0, 4000.0])
@pytest.mark.parametrize("repair", [(10.0, 10.0), (3000.0, 50.0), (50.0, 3000.0)])
def test_the_figure_fits_its_place_whatever_the_sizes(repair, room):
    area = area_of(*repair, *((direction, room, (), 5.0, 15.0) for direction in Direction))
    figure = PlanFigure((area,), False, 500.0)
    assert figure.wrap(500.0, 700.0)[0] <= 500.0
    assert figure.height < 400.0
    canvas = RecordedCanvas()
    figure.canv = canvas
    figure.draw()
    for x, y, width, height in canvas.boxes[: 3 + len(SHARES)]:  # panels, contours, fade, colour; labels may overhang
        assert -0.01 <= x <= x + width <= 500.01
        assert -0.01 <= y <= y + height <= figure.height + 0.01
    drawn, (_, _, bar, _) = canvas.boxes[3 + len(SHARES)], canvas.boxes[-1]
    # the scale bar is 100 mm: by it, the repair has its own size and lies in the middle
    assert (100 * drawn[2] / bar, 100 * drawn[3] / bar) == pytest.approx(repair, rel=1e-9)
    assert drawn[0] + drawn[2] / 2 == pytest.approx(250.0)


@pytest.mark.parametrize(("inches", "bar_mm", "words"), [(False, 100.0, "100 mm"), (True, 4 * 25.4, "4 in")])
def test_the_scale_bar_is_as_long_as_it_says_and_the_fade_changes_its_grey_where_its_shares_lie(inches, bar_mm, words):
    # an inch is 25.4 mm by definition; a fade straight from full at 70 to none at 240 has a quarter at 240 - 170 / 4
    area = area_of(300.0, 200.0, (Direction.LEFT, 400.0, (), 70.0, 240.0))
    figure = PlanFigure((area,), inches, 500.0)
    figure.canv = canvas = RecordedCanvas()
    figure.draw()
    per_mm = canvas.boxes[-1][2] / bar_mm
    assert f"({words}) Tj" in "\n".join(canvas._code)
    greys = [box[2] / per_mm - 300.0 for box in canvas.boxes[1 : 1 + len(SHARES)]]
    assert greys == pytest.approx([240.0 - 170.0 * share for share in SHARES], abs=1e-3)


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler is not installed")
def test_the_swatches_meet_without_a_line_and_print_as_two_greys(tmp_path):
    (tmp_path / "sheet.pdf").write_bytes(job_sheet(replace(CONTENT, invented=False)))
    subprocess.run(
        ["pdftoppm", "-r", "72", "-png", "-f", "1", "-l", "1", "sheet.pdf", "page"], cwd=tmp_path, check=True
    )
    picture = np.asarray(Image.open(next(tmp_path.glob("page*.png"))).convert("RGB")).astype(int)
    middle = picture.shape[1] // 2
    coloured = np.flatnonzero(np.ptp(picture[:, middle - 40], axis=1) > 20)
    row = picture[coloured[len(coloured) // 2], middle - 60 : middle + 60]
    assert len(np.unique(row, axis=0)) <= 3  # two colours and at most one mixed pixel where they meet
    grey = row @ np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1 luminance weights
    assert grey[0] > grey[-1] + 2


def test_every_measured_box_is_on_the_sheet_under_its_name():
    boxes = tuple(
        Measured(name, np.full((144, 144, 3), level, dtype=np.uint8))
        for name, level in (("Grey 18 %", 118), ("Card", 60), *((f"Car ({n})", 70 + n) for n in range(1, 9)))
    )
    pdf = job_sheet(replace(CONTENT, measured=boxes))
    assert pdf.count(b"/Subtype /Image") == len(boxes)
    for name in ("What was measured", "Grey 18 %", "Card", "Car (8)"):
        assert name in page_text(pdf)
    assert b"/Subtype /Image" not in job_sheet(CONTENT)
