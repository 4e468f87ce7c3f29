"""One photo walked through every page, command, sheet and saved file: one estimate, one verdict, one set of chances."""

import json
import re
from html import unescape

import pytest
from streamlit.testing.v1 import AppTest

from match.check.verdict import Verdict, odds_words, sure_words
from match.cli import main
from match.history.records import NewCheck
from match.history.store import Store
from tests.blend.test_job_sheet_pdf import page_text
from tests.support.flat_pictures import FIRST, SECOND, fraction, grey_fractions, grey_marks, picture, typed
from tests.ui.test_check import html, opened

CAR = (0.30, 0.08, 0.06)
CARDS = {"near": (0.31, 0.085, 0.062), "between": (0.318, 0.085, 0.0625), "far": (0.36, 0.10, 0.075)}
SIDES = [part for side in ("left", "right", "up", "down") for part in ("--side", f"{side}:400")]


@pytest.fixture(scope="module", params=CARDS)
def walked(request, tmp_path_factory):
    """Return everything that is said of one photo."""
    folder = tmp_path_factory.mktemp("walk")
    with pytest.MonkeyPatch.context() as changed:
        changed.setenv("SPRAYOUT_DATA", str(folder / "shop"))
        yield _walk(folder, picture(CARDS[request.param], CAR, ground=CAR))


def _walk(folder, content):
    photo = folder / "shop.png"
    photo.write_bytes(content)
    marks = [part for mark in grey_marks() for part in ("--grey", mark)]
    check = ["check", str(photo), *marks, "--card", typed(FIRST), "--vehicle", typed(SECOND)]
    said = {"check": _printed(check), "check json": json.loads(_printed([*check, "--json"]))}
    saved = folder / "saved.json"
    saved.write_text(json.dumps(said["check json"]))
    blend = ["blend", "--check", str(saved), *SIDES]
    said |= {"room": _printed([*check, *SIDES]), "room json": json.loads(_printed([*check, *SIDES, "--json"]))}
    said |= {"blend": _printed(blend), "blend json": json.loads(_printed([*blend, "--json"]))}
    app = opened(content, [*grey_fractions(), fraction("card", FIRST), fraction("vehicle", SECOND)])
    latest = app.session_state["session_check"]
    said |= {"latest": latest, "check page": unescape(html(app)), "document": json.loads(json.dumps(latest.document()))}
    said |= {"blend page": _page(_blend_page, latest), "tint page": _page(_tint_page, latest)}
    said |= {"history page": _history_page(folder, said["document"]), "sheet": _sheet(folder, blend)}
    said["history show"] = _shown(folder)
    return said


def _printed(arguments):
    import contextlib
    import io

    written = io.StringIO()
    with contextlib.redirect_stdout(written):
        assert main(arguments) == 0
    return written.getvalue()


def _blend_page():
    from match.ui.blend import page

    page.page()


def _tint_page():
    from match.ui.tint import page

    page.page()


def _page(function, latest):
    app = AppTest.from_function(function, default_timeout=120)
    app.session_state["session_check"] = latest
    app.run()
    if function is _blend_page:
        app.button_group(key="blend_sides").set_value(["left", "right", "up", "down"])
        app.run()
    assert not app.exception
    return unescape(html(app))


def _history_page(folder, document):
    with Store.open(folder / "shop") as store:
        kept = store.save_check(NewCheck(result=document)).id

    def history_page():
        from match.ui.history import page

        page.page()

    app = AppTest.from_function(history_page, default_timeout=120)
    app.query_params["check"] = kept
    app.run()
    assert not app.exception, app.exception
    return unescape(html(app))


def _shown(folder):
    with Store.open(folder / "shop") as store:
        kept = store.find_checks().items[0].id
    return _printed(["history", "show", kept, "--data", str(folder / "shop")])


def _sheet(folder, blend):
    pdf = folder / "job.pdf"
    _printed([*blend, "--job-sheet", str(pdf)])
    return page_text(pdf.read_bytes())


def test_the_estimate_is_one(walked):
    size = walked["document"]["delta_e00"]
    assert walked["check json"]["delta_e00"] == walked["room json"]["delta_e00"] == size
    assert walked["blend json"]["delta_e00"] == pytest.approx(size, abs=1e-4)
    for place in ("check", "room", "blend", "blend page", "history page", "sheet"):
        found = {float(each) for each in re.findall(r"[Dd]ifference (?:of |reads )?(\d+\.\d)\d?\b", walked[place])}
        found |= {float(each) for each in re.findall(r"Card and car differ by (\d+\.\d)", walked[place])}
        assert found == {round(size, 1)} or found <= {round(size, 1), float(f"{size:.2f}"[:3])}, place
    assert f">{size:.1f}<" in walked["check page"]
    assert f"{size:.1f} from the car" in walked["tint page"]
    low, high = walked["document"]["delta_e00_interval"]
    for place in ("check", "room", "blend", "blend page", "history page", "sheet"):
        assert f"95 % sure between {low:.2f} and {high:.2f}" in walked[place], place


def test_both_colours_are_one(walked):
    for whose, key in (("card", "card_lab"), ("car", "vehicle_lab")):
        lab = walked["document"][key]
        assert "{}: L* {:.1f}, a* {:.1f}, b* {:.1f} ".format(whose, *lab) in walked["sheet"]
        assert ", ".join(f"{value:.2f}" for value in lab) in walked["check page"]
        assert ", ".join(f"{value:.1f}" for value in lab) in walked["history page"]


def test_limits_reason_and_meaning_are_one(walked):
    limits = walked["latest"].result.thresholds.words
    assert limits == "go up to 1.2, blend up to 3.0"
    for place in ("check", "check page", "history page", "history show"):
        assert walked["document"]["reason"] in walked[place], place
        assert limits in walked[place], place
        assert walked["document"]["meaning"].lower() in walked[place].lower(), place
    assert walked["document"]["sure"].lower() in walked["history show"].lower()
    for place in ("room", "blend", "sheet"):
        assert walked["blend json"]["limits"] in walked[place], place


def test_the_verdict_of_the_photo_is_one(walked):
    latest = walked["latest"].result
    sure = sure_words(latest.verdict, latest.decision)
    odds = odds_words(latest.decision)
    assert walked["check json"]["verdict"] == walked["document"]["verdict"] == latest.verdict.value
    assert walked["check json"]["probabilities"] == walked["document"]["probabilities"]
    assert walked["check"].startswith(f"{latest.verdict.value.upper()}: ")
    for place in ("check page", "history page"):
        assert f'data-verdict="{latest.verdict.value}"' in walked[place], place
    for place in ("check", "check page", "history page"):
        assert sure.lower() in walked[place].lower(), place
    for place in ("check", "history page"):
        assert f"calls for: {odds}" in walked[place], place


def test_the_verdict_of_the_room_is_one(walked):
    room, plan = walked["room json"], walked["blend json"]
    assert room["verdict"] == plan["verdict"]
    for verdict in Verdict:
        if verdict is not Verdict.RETAKE:
            assert room["probabilities"][verdict.value] == pytest.approx(plan["probabilities"][verdict.value], abs=1e-3)
    for limit, value in room["thresholds"].items():
        assert plan["thresholds"][limit] == pytest.approx(value, abs=1e-3)  # the same samples, of rounded figures
    assert f'data-verdict="{room["verdict"]}"' in walked["blend page"]
    for place in ("room", "blend"):
        assert walked[place].startswith(f"{room['verdict'].upper()}: "), place
    for place in ("blend", "blend page", "sheet"):
        assert plan["sure"].lower().split(" likely")[-1] in walked[place].lower(), place
        assert plan["reason"] in walked[place], place


def test_the_chances_in_the_room_are_one(walked):
    told = {}
    for place in ("blend", "blend page", "sheet"):
        words = re.search(r"calls for, in this room: (.*?)\.", walked[place])[1]
        told[place] = {name: int(chance) for name, chance in re.findall(r"(\w+) (?:over |under )?(\d+) %", words)}
        assert list(told[place]) == ["go", "blend", "retint"], place
    assert told["sheet"] == told["blend"]
    for name, chance in told["blend page"].items():  # the page plans with the photo's own draws
        assert told["blend"][name] == pytest.approx(chance, abs=2), name
