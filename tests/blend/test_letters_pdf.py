"""Words of any script on a printed sheet: set where the typeface can, else counted, never an empty square."""

import shutil
import subprocess
from dataclasses import replace

import pytest

from match.blend.job_sheet_pdf import job_sheet
from match.letters_pdf import FOLDER, printable
from tests.blend.test_job_sheet_pdf import CONTENT

SET = (
    "Zażółć gęślą jaźń",  # Polish, with every letter that it has beyond ASCII (a well-known pangram)
    "Ξεσκεπάζω την ψυχοφθόρα βδελυγμία",  # Greek, a well-known pangram
    "Съешь ещё этих мягких французских булок",  # Russian, a well-known pangram
    "Příliš žluťoučký kůň, Łódź, ğışö, ß, €",
)


@pytest.mark.parametrize("text", SET)
def test_latin_greek_and_cyrillic_are_printed_as_they_stand(text):
    assert printable(text) == text


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("珍珠白", "[3 signs this font lacks]"),
        ("white 白 pearl", "white [1 sign this font lacks] pearl"),
        ("أبيض", "[4 signs this font lacks]"),
        ("לבן", "[3 signs this font lacks]"),
        ("สีขาว", "[5 signs this font lacks]"),
        ("red 🚗", "red [1 sign this font lacks]"),
        ("z\u0307o\u0301\u0142w", "żółw"),
        ("a\u200bb\u202ec", "abc"),
    ],
)
def test_what_cannot_be_set_is_counted(text, printed):
    assert printable(text) == printed


def test_the_sheet_holds_the_words_and_its_typeface(tmp_path):
    sheet = tmp_path / "sheet.pdf"
    sheet.write_bytes(job_sheet(replace(CONTENT, heading=" / ".join(SET), remarks=("珍珠白 and أبيض",))))
    assert sheet.stat().st_size < 200_000
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is missing: install poppler-utils")
    ran = subprocess.run(["pdftotext", "-layout", str(sheet), "-"], capture_output=True, text=True, check=True)
    words = " ".join(ran.stdout.split())
    for text in SET:
        assert text in words
    assert "[3 signs this font lacks] and [4 signs this font lacks]" in words
    fonts = subprocess.run(["pdffonts", str(sheet)], capture_output=True, text=True, check=True).stdout
    embedded = [line.split()[-5] for line in fonts.splitlines()[2:] if "DejaVu" in line]
    assert embedded
    assert set(embedded) == {"yes"}


def test_the_typeface_comes_with_its_licence():
    licence = (FOLDER / "LICENSE").read_text(encoding="utf-8")
    assert "Bitstream" in licence
    assert "public domain" in licence
