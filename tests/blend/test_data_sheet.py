"""A paint line's data sheet: typed once, kept whole, and first wherever the job is told."""

import json
from dataclasses import replace

import pytest

from match import calibration
from match.blend.booth_page import booth_page
from match.blend.coat_plans import BlendPractice
from match.blend.data_sheet import FIGURES, DataSheet, by_data_sheet, sheet_of, usual_figures
from match.blend.data_sheet_file import forget_sheet, keep_sheet, own_path, read_sheets, sheet_called
from match.blend.job_practice import JobPractice
from match.blend.room import load_blend_calibration
from match.blend.step import Deed
from match.cli import main
from match.errors import CalibrationError, PlanError

PRACTICE = calibration.load(BlendPractice, "practice")
JOB = calibration.load(JobPractice, "practice")
TYPED = DataSheet(
    "invented base",
    (("coats", (3.0,)), ("reducer", (0.5,)), ("flash", (10.0, 20.0)), ("clear-coats", (3.0,)), ("film", (11.0,))),
)
BLEND = ["blend", "--labs", "43.4,5.3,-30.8", "42,5,-31", "--side", "left:400", "--side", "up:200"]


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv(calibration.OVERRIDE_VARIABLE, str(tmp_path / "own"))
    calibration.read_again()
    yield
    calibration.read_again()


def test_every_figure_replaces_a_number_of_practice_in_its_own_unit():
    shipped = calibration.read_table("practice")
    for figure in FIGURES.values():
        entry = shipped[figure.table][figure.field]
        assert entry["unit"] == figure.unit
        assert isinstance(entry["value"], list) == figure.ranged


def test_what_is_typed_wins_and_what_is_not_stays():
    practice, job = by_data_sheet(PRACTICE, JOB, TYPED)
    assert practice.hiding == replace(PRACTICE.hiding, coats_to_cover=3.0)
    assert job.base == replace(JOB.base, reducer=0.5, flash=(10.0, 20.0), dry_film=11.0)
    assert job.clear == replace(JOB.clear, coats=3.0)
    assert by_data_sheet(PRACTICE, JOB, None) == (PRACTICE, JOB)
    assert dict(TYPED.figures).items() <= usual_figures(practice, job).items()


def test_a_sheet_survives_its_tables_and_its_file():
    assert set(sheet_of("invented base", TYPED.table()).figures) == set(TYPED.figures)
    keep_sheet(TYPED)
    own_path().write_text("# by hand\n" + own_path().read_text(encoding="utf-8"), encoding="utf-8")
    keep_sheet(DataSheet("second", (("flash", (5.0, 8.0)),)))
    assert own_path().read_text(encoding="utf-8").startswith("# by hand")
    assert set(read_sheets()) == {"invented base", "second"}
    assert set(sheet_called("invented base").figures) == set(TYPED.figures)
    forget_sheet("invented base")
    assert list(read_sheets()) == ["second"]
    with pytest.raises(PlanError, match="no paint line"):
        sheet_called("invented base")


@pytest.mark.parametrize(
    ("figures", "says"),
    [
        ((("flash", (10.0,)),), "lowest and the highest"),
        ((("flash", (20.0, 10.0)),), "lowest comes first"),
        ((("shine", (1.0,)),), "no figure called"),
        ((("reducer", (50.0,)),), "plausible"),  # a slip of the decimal point
        ((("film", (80.0,)),), "plausible"),
    ],
)
def test_a_figure_that_cannot_be_is_refused_and_nothing_is_lost(figures, says):
    keep_sheet(TYPED)
    before = own_path().read_bytes()
    with pytest.raises(PlanError, match=says):
        keep_sheet(DataSheet("wrong", figures))
    assert own_path().read_bytes() == before


def test_a_file_broken_by_hand_is_one_sentence():
    keep_sheet(TYPED)
    text = own_path().read_text(encoding="utf-8")
    own_path().write_text(text.replace("value = 0.5", 'value = "half"'), encoding="utf-8")
    calibration.read_again()
    with pytest.raises(CalibrationError, match="not a number"):
        read_sheets()


def test_the_command_line_keeps_lists_and_forgets(capsys):
    assert main(["paintline", "invented base", "--set", "flash=10,20", "--set", "reducer=0.5"]) == 0
    assert main(["paintline", "invented base", "--set", "coats=3"]) == 0  # added to what is kept
    capsys.readouterr()
    assert main(["paintline"]) == 0
    told = capsys.readouterr().out
    for words in ("invented base", "10 to 20 min", "0.5 parts per part of base", "3 coats"):
        assert words in told
    assert main(["paintline", "invented base", "--forget"]) == 0
    assert main([*BLEND, "--paint-line", "invented base"]) == 2
    assert main(["paintline", "--set", "coats=3"]) == 2
    assert main(["paintline", "x", "--set", "coats"]) == 2


def test_the_sheet_wins_on_the_command_line_in_the_json_in_the_booth_and_on_paper(tmp_path, capsys):
    keep_sheet(TYPED)
    booth, pdf = tmp_path / "booth.html", tmp_path / "job.pdf"
    assert main([*BLEND, "--paint-line", "invented base", "--booth", str(booth), "--job-sheet", str(pdf)]) == 0
    told = capsys.readouterr().out
    for text in (told, booth.read_text(encoding="utf-8")):
        assert "By the data sheet of invented base" in text
        assert "Wait 10 to 20 minutes" in text
        assert "Clear coat 3 of 3" in text
    assert pdf.read_bytes().startswith(b"%PDF")
    steps = {}
    for line in ("", "invented base"):
        main([*BLEND, "--json", *(["--paint-line", line] if line else [])])
        steps[line] = json.loads(capsys.readouterr().out)
    assert steps[""]["coats_to_cover"] == 2.0
    assert steps["invented base"]["coats_to_cover"] == 3.0
    main([*BLEND, "--json", "--paint-line", "invented base", "--coats-to-cover", "4"])
    assert json.loads(capsys.readouterr().out)["coats_to_cover"] == 4.0  # what was seen over a chart comes first


def test_the_steps_pour_and_wait_by_the_sheet():
    from match.blend.sides import Length
    from tests.blend.test_steps import FADED, OWNER, PAIR, looked_at, plan_job

    shipped = load_blend_calibration()
    practice, job = by_data_sheet(shipped.practice, JOB, TYPED)
    planned = plan_job(
        [PAIR],
        [FADED],
        looked_at(OWNER, 1.0),
        replace(shipped, practice=practice),
        job,
        Length.MM,
        paint_line=TYPED.line,
    )
    base, reducer = (amount for _, amount in planned.steps.of(Deed.MIX_BASE)[0].mix.parts)
    assert reducer == pytest.approx(0.5 * base, abs=1.0)
    assert planned.steps.of(Deed.BASE_COAT)[0].wait_min == (10.0, 20.0)
    assert len(planned.steps.of(Deed.CLEAR_COAT)) == 3
    assert planned.plan.coats_to_cover == 3.0
    assert "invented base" in booth_page(planned)
