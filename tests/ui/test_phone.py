"""The page of the phone: what the desk sees, what a phone sees, and the photos that came."""

import io
import re

import numpy as np
import pytest
import streamlit as st
from PIL import Image
from streamlit.testing.v1 import AppTest

from match.errors import NetworkError
from match.network.access import Shown
from match.network.phones import PHONES, Opened
from match.ui import from_phone, visit
from match.ui.bench import whose
from match.ui.check import photo_input
from match.ui.history import labels
from match.ui.phone import way_in
from tests.ui.test_check import html


def phone_page() -> None:
    from match.ui.phone.page import page

    page()


@pytest.fixture
def at_desk(monkeypatch, tmp_path):
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "data"))
    monkeypatch.setattr(visit, "is_desk", lambda: True)
    monkeypatch.setattr(PHONES, "_serves", (None, None, 0))
    monkeypatch.setattr(PHONES, "refusal", "")


@pytest.fixture
def opened(monkeypatch, at_desk):
    state = {"shown": Shown("123456789", "ticket", 0, 0), "done": []}
    monkeypatch.setattr(PHONES, "_opened", Opened("192.0.2.7", "http://192.0.2.7:8502", False))
    monkeypatch.setattr(PHONES, "shown", lambda: state["shown"])
    monkeypatch.setattr(PHONES, "renew", lambda: state["done"].append("renewed"))
    monkeypatch.setattr(PHONES, "shut", lambda: state["done"].append("shut"))
    return state


def shown(script=phone_page):
    app = AppTest.from_function(script, default_timeout=300).run()
    assert not app.exception
    return app


def test_the_desk_is_shown_the_code_and_told_who_can_listen(opened):
    opened["shown"] = Shown("123456789", "ticket", 2, 7)
    app = shown()
    assert "123 456 789" in html(app)
    assert "2 phones are in. 7 wrong codes were typed in the last minutes." in html(app)
    assert "Not encrypted. Whoever can listen on this network" in html(app)
    app.button(key="phones_renew").click().run()
    app.button(key="phones_shut").click().run()
    assert opened["done"] == ["renewed", "shut"]


def test_a_computer_that_moved_to_another_network_is_told_so(opened, monkeypatch):
    for is_here, said in ((True, False), (False, True)):
        monkeypatch.setattr(way_in, "is_own", lambda address, is_here=is_here: is_here)
        assert ("This computer has another address on the network now." in html(shown())) == said


def test_labels_carry_the_address_that_phones_use(opened):
    assert labels.desk() == "http://192.0.2.7:8502"


def test_a_phone_has_the_bench_of_the_desk_that_shows_the_code(opened, monkeypatch):
    monkeypatch.setattr(PHONES, "shares_with", "")
    app = AppTest.from_function(phone_page, default_timeout=300)
    app.session_state[whose.OWNER] = "d" * 32
    assert not app.run().exception

    def telling() -> None:
        import streamlit as st

        from match.ui.bench import whose

        st.html(f"owner {whose.owner()}")

    for is_phone, told in ((True, "d" * 32), (False, "None")):
        monkeypatch.setattr(visit, "is_phone", lambda is_phone=is_phone: is_phone)
        assert f"owner {told}" in html(shown(telling))


def test_under_tls_nothing_is_said_of_listening(opened, monkeypatch):
    monkeypatch.setattr(PHONES, "_opened", Opened("192.0.2.7", "https://192.0.2.7:8502", True))
    assert "encrypted" not in html(shown())


@pytest.mark.parametrize("seen_from", ["phone", ""])
def test_nobody_but_the_desk_is_shown_a_code_or_a_switch(opened, monkeypatch, seen_from):
    monkeypatch.setattr(visit, "is_desk", lambda: False)
    monkeypatch.setattr(visit, "is_phone", lambda: seen_from == "phone")
    app = shown()
    assert "123" not in html(app)
    assert "ticket" not in html(app)
    assert not [button for button in app.button if button.key.startswith("phones_")]


def test_a_way_in_that_cannot_be_opened_is_said_in_a_sentence(at_desk, monkeypatch):
    def refuse(wanted):
        raise NetworkError("nothing can listen at 192.0.2.7, port 8502")

    monkeypatch.setattr(PHONES, "open", refuse)
    app = shown()
    app.button(key="phones_open").click().run()
    assert "Nothing can listen at 192.0.2.7, port 8502." in html(app)


def test_a_photo_stands_there_already_looked_at_and_can_be_used_or_removed(at_desk, monkeypatch):
    turned = []
    monkeypatch.setattr("match.ui.menu.go_to_check_page", lambda: turned.append(st.session_state["session_photo"]))
    file = io.BytesIO()
    Image.fromarray(np.full((300, 400, 3), 255, np.uint8)).save(file, "JPEG")
    from_phone.inbox().put("**bright** <b>.jpg", file.getvalue())
    from_phone.inbox().put("film.mp4", b"no photo")
    app = shown()
    said = html(app)
    assert "Nothing was recognised." in said
    assert "The picture is burnt out in 100 % of its pixels." in said
    assert "**bright** <b>.jpg" in said  # escaped in the page, and read back here
    assert "&lt;b&gt;" in "".join(element.value for element in app.get("html"))
    assert "This photo cannot be used." in said
    (use,) = [button for button in app.button if button.label == "Use this photo"]
    use.click().run()
    assert turned[0].content == file.getvalue()
    for button in [button for button in app.button if button.label == "Remove"]:
        button.click().run()
    assert from_phone.inbox().photos() == ()


def test_the_first_screen_counts_the_photos_and_leads_to_them(at_desk):
    from tests.ui.test_check import APP

    def labels():
        app = AppTest.from_file(str(APP), default_timeout=300).run()
        assert not app.exception
        return [link.proto.label for link in app.get("page_link")]

    assert "Use a phone on this network" in labels()
    from_phone.inbox().put("a.jpg", b"a")
    from_phone.inbox().put("b.jpg", b"b")
    assert "From the phone: 2 photos" in labels()


def test_where_the_app_cannot_let_phones_in_the_page_says_how_it_can(monkeypatch, tmp_path):
    monkeypatch.setenv("SPRAYOUT_DATA", str(tmp_path / "data"))
    monkeypatch.setattr(visit, "is_desk", lambda: True)
    monkeypatch.setattr(PHONES, "_serves", None)
    assert re.search(r"python -m match app --phone", html(shown()))


class Given:
    """A file as the uploader gives it."""

    def __init__(self, name, content):
        self.name, self._content, self.file_id = name, content, str(id(self))

    def getvalue(self):
        return self._content


def picture():
    file = io.BytesIO()
    Image.fromarray(np.full((300, 400, 3), 128, np.uint8)).save(file, "JPEG")
    return file.getvalue()


def test_what_a_phone_sends_from_this_page_is_here_once_and_only_if_it_can_be_read(at_desk, monkeypatch):
    given = [Given("a.jpg", picture()), Given("a again.jpg", picture()), Given("film.mp4", b"no photo")]
    monkeypatch.setattr(visit, "is_phone", lambda: True)
    monkeypatch.setattr(st, "file_uploader", lambda *_, **__: given)
    assert "Film.mp4 cannot be used." in html(shown())
    assert [photo.name for photo in from_phone.inbox().photos()] == ["a again.jpg"]


def test_a_photo_removed_at_the_desk_stays_away_until_it_is_sent_anew(at_desk, monkeypatch):
    given = [Given("a.jpg", picture())]
    monkeypatch.setattr(visit, "is_phone", lambda: True)
    monkeypatch.setattr(st, "file_uploader", lambda *_, **__: given)
    app = shown()
    from_phone.inbox().remove(from_phone.inbox().photos()[0].digest)
    app.run()
    assert not from_phone.inbox().photos()
    given.append(Given("a.jpg", picture()))
    app.run()
    assert [photo.name for photo in from_phone.inbox().photos()] == ["a.jpg"]


@pytest.mark.parametrize("from_a_phone", [True, False])
def test_a_photo_that_a_phone_puts_on_its_own_bench_stands_on_the_desk_too(at_desk, monkeypatch, from_a_phone):
    monkeypatch.setattr(visit, "is_phone", lambda: from_a_phone)
    monkeypatch.setattr(photo_input, "_accept", lambda photo: None)

    def sending() -> None:
        from match.ui import session
        from match.ui.check import photo_input
        from tests.ui.test_phone import picture

        photo_input._try(session.chosen("own.jpg", picture()), "first")
        photo_input._try(session.chosen("film.mp4", b"no photo"), "second")

    shown(sending)
    assert [photo.name for photo in from_phone.inbox().photos()] == (["own.jpg"] if from_a_phone else [])
