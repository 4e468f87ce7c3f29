"""What a person typed shows as typed: no page hands it to Markdown."""

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from match.history.records import NewCard, NewCheck, NewColour, NewJob, NewOutcome
from match.ui.kit.style import unmarked
from tests.support.flat_pictures import picture
from tests.ui.test_coats import FIELDS, PAIR, RED, coats_page, let_down, uploaded
from tests.ui.test_history import _colour, _history, result, run, store  # noqa: F401
from tests.ui.test_tint import _page as _tint
from tests.ui.test_tint import checked

HOSTILE = "![a](http://name.invalid/x.png) **bold** $x^2$ :red[r] <b>b</b> `c`"
PLAIN_FIELDS = {"html", "text_input", "text_area", "selectbox", "date_input"}
"""What Streamlit shows as it stands: HTML of ours, which is escaped, and fields and lists of values."""


def in_markdown(app: AppTest) -> list[str]:
    """Return every text of a page that Streamlit reads as Markdown."""
    found = []
    for block in (app.main, app.sidebar):
        for element in block:
            proto = getattr(element, "proto", None)
            if proto is None:
                continue
            for name in ("label", "help", "body"):
                value = getattr(proto, name, "")
                if isinstance(value, str) and element.type != "html":
                    found.append(value)
            if element.type not in PLAIN_FIELDS:
                options = getattr(proto, "options", ())
                found += [getattr(each, "content", each) for each in options]
    return [str(each) for each in found]


def faults(app: AppTest) -> list[str]:
    return [each for each in in_markdown(app) if "](" in each.replace("\\](", "") or "**bold" in each or "<b>" in each]


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("Polar white / 3K2 (solid)", "Polar white / 3K2 (solid)"),
        ("![a](http://x.invalid)", "!\\[a\\](http\\:\u2060//x.invalid)"),
        ("*a* _b_ ~c~ `d` $e$", "\\*a\\* \\_b\\_ \\~c\\~ \\`d\\` \\$e\\$"),
        (":red[a] :smile: :material/home:", "\\:\u2060red\\[a\\] \\:\u2060smile: \\:\u2060material/home:"),
        ("1. white", "1\\. white"),
        ("- white", "\\- white"),
        ("# white", "\\# white"),
        ("a\nb", "a b"),
        ("&lt;", "\\&lt;"),
        ("<img src=x>", "\\<img src=x\\>"),
        ("back\\slash", "back\\\\slash"),
    ],
)
def test_signs_of_markdown_are_taken_their_meaning(typed, shown):
    """CommonMark 0.31, sections 2.4 (backslash escapes) and 2.5 (entities)."""
    assert unmarked(typed) == shown


def test_no_page_of_the_history_reads_a_name_as_markdown(store):  # noqa: F811
    colour = store.add_colour(NewColour(name=HOSTILE, code=HOSTILE[:60], finish=HOSTILE)).id
    job = store.add_job(NewJob(car=HOSTILE, plate=HOSTILE[:60]))
    new = NewCheck(result=result(1.0, "go"), card=NewCard(colour=colour, job=job.id, mix=HOSTILE), note=HOSTILE)
    kept = store.save_check(new).id
    store.add_outcome(NewOutcome(check=kept, hidden="yes", came_back="no", notes=HOSTILE))
    for page, asked in ((_history, {}), (_history, {"check": kept}), (_colour, {}), (_colour, {"colour": colour})):
        app = run(page, **asked)
        assert in_markdown(app)
        assert faults(app) == []


def test_the_tint_page_reads_no_name_as_markdown(monkeypatch, tmp_path):
    from match.tint.shelf_file import keep_named
    from tests.tint.checks import MIX, check

    monkeypatch.setenv("SPRAYOUT_CALIBRATION", str(tmp_path))
    name = HOSTILE.replace("=", "")[:60]
    keep_named(name, "white", 1.0)
    app = checked(AppTest.from_function(_tint, default_timeout=300), HOSTILE, check(MIX))
    assert in_markdown(app)
    assert faults(app) == []


def _camera() -> None:
    from match.ui.camera import page

    page.page()


def test_the_camera_page_reads_no_name_as_markdown(tmp_path, monkeypatch):
    from match.camera.null_test import NullShot
    from match.camera.records_file import change_cameras, records_file

    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path))
    shot = NullShot("x.png", np.array((0.1, 0.0, 0.0)), 0.01 * np.eye(3))
    change_cameras(records_file(), lambda cameras: cameras.with_null(HOSTILE, "a" * 64, shot))
    app = AppTest.from_function(_camera, default_timeout=300).run()
    assert not app.exception
    assert unmarked(HOSTILE) in in_markdown(app)
    assert faults(app) == []


def _named_cards(name: str) -> None:
    from types import SimpleNamespace

    from match.photo.regions import Kind, Region
    from match.ui import session
    from match.ui.check.cards import _ask_which
    from match.ui.check.mend import offer_mend

    _ask_which(SimpleNamespace(cards=[SimpleNamespace(name=name), SimpleNamespace(name="other")]))
    grey, card = Region(Kind.GREY, 0, 0, 20, 20, 0.18), Region(Kind.CARD, 40, 0, 20, 20, None, name)
    photo = session.chosen("a.png", b"not looked at")
    session.put_photo(photo)
    result = SimpleNamespace(measurement=SimpleNamespace(mended=(grey,)))
    offer_mend(SimpleNamespace(regions=(grey, card), result=result, photo_digest=photo.digest))


def test_the_names_of_cards_are_shown_as_typed():
    app = AppTest.from_function(_named_cards, args=(HOSTILE[:40],), default_timeout=300).run()
    assert not app.exception
    assert any(each.startswith("Mend the marks") for each in in_markdown(app))
    assert sum(unmarked(HOSTILE[:40]) in each for each in in_markdown(app)) >= 2
    assert faults(app) == []


def test_the_coats_pages_read_no_name_as_markdown(tmp_path, monkeypatch):
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path))
    app = AppTest.from_function(coats_page, default_timeout=300).run()
    app = uploaded(app, "hiding_file", "hiding", picture(RED, RED, camera=HOSTILE), FIELDS, HOSTILE)
    assert in_markdown(app)
    assert faults(app) == []
    app = uploaded(let_down(), "let_down_file-0", "let-down", picture(RED, RED), PAIR, HOSTILE)
    app = uploaded(app, "let_down_file-1", "let-down", picture(RED, RED, grain=9), PAIR, HOSTILE)
    assert faults(app) == []
