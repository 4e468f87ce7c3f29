"""The phone's page: at the desk the way in, on every screen the photos that came from phones."""

import streamlit as st

from match.errors import PhotoError
from match.network.phones import PHONES
from match.ui import from_phone, measured, session, visit
from match.ui.bench import whose
from match.ui.kit import say
from match.ui.phone.way_in import show_way_in


def page() -> None:
    """Show the page."""
    st.title("Phone", anchor=False)
    if visit.is_phone():
        _take_photo()
    elif visit.is_desk():
        PHONES.shares_with = whose.owner() or ""
        show_way_in()
    st.header("From the phone", anchor=False)
    from_phone.show_photos()


def _take_photo() -> None:
    say.lead(
        "Press Upload and choose the camera. The photo stands on the desk within seconds, and on every phone that is "
        "in."
    )
    for given in st.file_uploader("Photos of card, panel and grey", key="phone_photos", accept_multiple_files=True):
        photo = session.chosen(given.name, given.getvalue())
        try:
            measured.read_photo(photo)
        except PhotoError as error:
            say.notice(f"{given.name} cannot be used.", error)
        else:
            from_phone.send(photo, given.file_id)
