"""The letters of printed sheets: an embedded typeface for Latin, Greek and Cyrillic, and honest words for the rest.

DejaVu Sans 2.37 (its licence lies beside it) is shipped, since the typefaces that every PDF reader has cover western
Europe alone. What it lacks, and what is written from right to left or in joined letters, which this printing cannot
set, is counted in words instead of printed wrong or as empty squares.
"""

import unicodedata
from functools import cache
from itertools import groupby
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FOLDER = Path(__file__).with_name("_fonts")
REGULAR, BOLD = "DejaVuSans", "DejaVuSans-Bold"
SCRIPTS = ("LATIN", "GREEK", "CYRILLIC")
"""First words of Unicode's names for the letters that are set."""

for _name in (REGULAR, BOLD):
    pdfmetrics.registerFont(TTFont(_name, str(FOLDER / f"{_name}.ttf")))
pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)


def printable(text: str) -> str:
    """Return ``text`` with each run of signs that cannot be printed counted: ``[3 signs this font lacks]``.

    Letters are composed first (Unicode's form NFC), and signs without a shape, such as direction marks, are left out.
    """
    kept = [sign for sign in unicodedata.normalize("NFC", text) if unicodedata.category(sign) not in ("Cf", "Cc")]
    parts = []
    for is_known, run in groupby(kept, _is_printed):
        signs = "".join(run)
        lacks = f"[{len(signs)} {'sign' if len(signs) == 1 else 'signs'} this font lacks]"
        parts.append(signs if is_known else lacks)
    return "".join(parts)


@cache
def _is_printed(sign: str) -> bool:
    if ord(sign) > 0xFFFF or not all(
        ord(sign) in pdfmetrics.getFont(name).face.charToGlyph for name in (REGULAR, BOLD)
    ):
        return False
    return unicodedata.category(sign)[0] != "L" or unicodedata.name(sign, "").startswith(SCRIPTS) or sign in "ªº"
