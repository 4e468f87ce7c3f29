"""The drawer of cards: labels that open the right record, where a card lies, and a card held against its car again."""

from __future__ import annotations

import dataclasses
import re
from datetime import UTC, datetime

import cv2
import numpy as np
import pytest
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from match.check.saved import SavedCheck, read_saved
from match.errors import MatchError
from match.history import labels_pdf as labels_module
from match.history.addresses import record_address
from match.history.again import AgainRules, Changed, compared_again
from match.history.filing import filed_under, keep
from match.history.labels import Label, card_label, card_labels
from match.history.labels_pdf import BOLD, fitted, labels_pdf, load_label_sheets
from match.history.records import NewCard, NewCheck
from match.history.store import Store
from match.history.words import again_words
from match.qr_code import QUIET_ZONE, qr_squares
from tests.history.test_support import full_check, result
from tests.support.documents import document

RULES = AgainRules(1.5)
SHEETS = load_label_sheets()
LABEL = Label("Sea", "K7", "alternate 2", "2026-03-01", "2 + drop", "1.3 mm", "Blend, 1.5", "drawer 3", "http://desk/x")


def checked(card: tuple[float, ...], car: tuple[float, ...], sd: float = 0.25) -> SavedCheck:
    return read_saved(document(1.0, "blend", card, car, sd), "invented")


def again(first: SavedCheck, last: SavedCheck) -> Changed:
    found = compared_again(
        [(datetime(2026, 3, 1, tzinfo=UTC), first), (datetime(2029, 3, 1, tzinfo=UTC), last)], RULES, 0.9
    )
    assert found is not None
    return found.changed


def test_a_common_move_of_card_and_car_is_the_light_s_and_no_change() -> None:
    first = checked((50.0, 1.0, 2.0), (51.0, 1.5, 2.0))
    assert again(first, checked((53.0, 2.0, 3.0), (54.0, 2.5, 3.0))) is Changed.NOTHING
    assert again(first, first) is Changed.NOTHING


def test_the_one_that_moved_beside_the_light_is_named_and_neither_where_it_cannot_be_told() -> None:
    first = checked((50.0, 1.0, 2.0), (51.0, 1.5, 2.0))
    assert again(first, checked((50.2, 1.0, 8.0), (51.2, 1.5, 2.0))) is Changed.CARD
    assert again(first, checked((50.2, 1.0, 2.0), (51.2, 1.5, 8.0))) is Changed.CAR
    assert again(first, checked((50.0, 1.0, 3.5), (51.0, 1.5, 0.5))) is Changed.EITHER


def test_a_change_is_called_real_in_one_of_twenty_pairs_that_did_not_change() -> None:
    """Normal theory: a difference outside its own 95 % region, simulated with the covariances that the checks keep."""
    rng, sd, found = np.random.default_rng(3), 0.3, 0
    for _ in range(400):
        one, two = (checked(tuple(np.array([50.0, 1, 2]) + rng.normal(0, sd, 3)), (51.0, 1.5, 2.0), sd) for _ in "ab")
        found += again(one, two) is not Changed.NOTHING
    assert 8 <= found <= 34  # 20 expected; 3 standard deviations of a binomial either way


def test_a_card_is_chosen_again_and_compared_with_itself(store: Store) -> None:
    first = store.save_check(full_check("AB-12", result=result(1.5)))
    assert store.checked_again(str(first.card)) is None
    moved = document(6.0, "retint", (50.0, 1.0, 8.0), (51.0, 1.5, 2.0))
    later = store.save_check(NewCheck(result=moved, colour=first.colour, job=first.job))
    told = dataclasses.replace(filed_under(store, later), same_card=first.card)
    assert keep(store, later, told).card == first.card
    found = store.checked_again(str(first.card))
    assert found is not None
    assert found.changed is Changed.CARD
    assert "likelier the card that changed" in again_words(found)
    store.save_check(NewCheck(result=result(1.5), corrects=later.id))
    corrected = store.checked_again(str(first.card))
    assert corrected is not None
    assert corrected.changed is Changed.NOTHING


def test_the_place_stands_beside_the_nearest_colour(store: Store) -> None:
    first = store.save_check(full_check("AB-12"))
    (near,) = store.nearest_colours((51.0, 1.5, 2.0)).items
    assert near.place == ""
    store.add_card(NewCard(colour=first.colour, place="drawer 1, 4"))
    (near,) = store.nearest_colours((51.0, 1.5, 2.0)).items
    assert near.place == "drawer 1, 4"
    store.edit(dataclasses.replace(store.get_card(str(first.card)), place="drawer 9, 9"))
    (near,) = store.nearest_colours((51.0, 1.5, 2.0)).items
    assert near.place == "drawer 9, 9"


def test_a_label_tells_the_card_and_its_newest_check(store: Store) -> None:
    first = store.save_check(full_check("AB-12"))
    later = store.save_check(NewCheck(result=result(0.4, "go"), card=first.card))
    bare = store.add_card(NewCard(colour=first.colour, mix="never checked"))
    story = store.timeline(str(first.colour))
    told = card_labels(story.colour, story.entries, "http://desk:8501/")
    assert [label.mix for label in told] == ["alternate 2", "never checked"]
    assert (told[0].colour, told[0].code, told[0].coats, told[0].gun) == (
        "Evening grey",
        "AB-12",
        "2 + drop coat",
        "1.3 mm, 2.0 bar",
    )
    assert told[0].verdict.startswith("Go, 0.4")
    assert told[0].address == f"http://desk:8501/history?check={later.id}"
    assert told[1].address == f"http://desk:8501/colour?colour={first.colour}"
    assert told[1] == card_label(story.colour, bare, None, "http://desk:8501")


def test_the_code_on_a_label_is_read_back_by_another_reader() -> None:
    """OpenCV's reader of QR codes, which shares nothing with the writer."""
    address = record_address("check", "0123456789abcdef" * 2, "http://192.168.178.20:8501")
    squares = np.pad(qr_squares(address), QUIET_ZONE)
    picture = np.kron(np.where(squares, 0, 255).astype(np.uint8), np.ones((6, 6), np.uint8))
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == address


@pytest.mark.parametrize("name", list(SHEETS.sheets))
def test_every_sheet_lies_on_its_paper_and_no_label_on_another(name: str) -> None:
    sheet = SHEETS.sheets[name]
    paper = SHEETS.papers[sheet.paper]
    assert sheet.left_mm + (sheet.columns - 1) * sheet.pitch_across_mm + sheet.width_mm <= paper.width_mm + 0.01
    assert sheet.top_mm + (sheet.rows - 1) * sheet.pitch_down_mm + sheet.height_mm <= paper.height_mm + 0.01
    assert (sheet.pitch_across_mm, sheet.pitch_down_mm) >= (sheet.width_mm, sheet.height_mm)
    pdf = labels_pdf([LABEL] * (sheet.count + 1), SHEETS, name, 1)
    assert len(re.findall(rb"/Type /Page\b", pdf)) == 2
    points = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", pdf)
    assert points is not None
    assert [float(side) * 25.4 / 72 for side in points.groups()] == pytest.approx(
        [paper.width_mm, paper.height_mm], abs=0.01
    )


@pytest.mark.parametrize("name", list(SHEETS.sheets))
def test_nothing_is_printed_where_a_printer_leaves_the_sheet_unprinted(name: str, monkeypatch) -> None:
    corners = []

    def watched_words(canvas, x, y, words):
        width = stringWidth(words, canvas._fontname, canvas._fontsize)
        corners.extend(canvas.absolutePosition(at, y) for at in (x, x + width))

    def watched_code(canvas, text, left, bottom, side):
        corners.extend(canvas.absolutePosition(left + x, bottom + y) for x in (0, side) for y in (0, side))

    monkeypatch.setattr(Canvas, "drawString", watched_words)
    monkeypatch.setattr(labels_module, "_draw_code", watched_code)
    grid = SHEETS.sheets[name]
    labels_pdf([dataclasses.replace(LABEL, mix="a long mix " * 20)] * grid.count, SHEETS, name)
    paper = SHEETS.papers[grid.paper]
    clear = 4.0 if "plain" not in name else 10.0
    at = np.array(corners) / mm
    assert at.min() >= clear
    assert (np.array([paper.width_mm, paper.height_mm]) - at).min() >= clear


def test_what_is_too_long_for_a_label_is_shortened_and_seen_to_be() -> None:
    for most in (1, 2, 3):  # no empty line below: a low label has no room for it
        assert fitted("short", BOLD, 9.0, 200.0, most) == ["short"]
    assert [stringWidth(line, BOLD, 9.0) <= 40.0 for line in fitted("onewordofacolour blue", BOLD, 9.0, 40.0, 2)] == [
        True,
        True,
    ]
    assert fitted("two words of a colour", BOLD, 9.0, 60.0, 2)[0] == "two words"
    name = "a very long name of a colour " * 4
    line = fitted(name, BOLD, 9.0, 100.0)[-1]
    assert line.endswith("…")
    one_more = name[: len(line) + 1] + "…"  # the space before it was dropped
    assert stringWidth(line, BOLD, 9.0) <= 100.0 < stringWidth(one_more, BOLD, 9.0)


def test_labels_that_cannot_be_printed_are_refused() -> None:
    for labels, sheet, used, said in (
        ([], "a4-3x8", 0, "no card"),
        ([LABEL], "b5", 0, "no sheet"),
        ([LABEL], "a4-3x8", 24, "24"),
        ([dataclasses.replace(LABEL, address="x" * 501)], "a4-3x8", 0, "too long"),
    ):
        with pytest.raises(MatchError, match=said):
            labels_pdf(labels, SHEETS, sheet, used)
