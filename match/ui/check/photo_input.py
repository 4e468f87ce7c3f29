"""Choose a photo: a file, this device's camera, or the demonstration."""

from __future__ import annotations

import streamlit as st

from match.errors import PhotoError
from match.ui import from_phone, libraries, session, visit
from match.ui.check.checklist import checklist
from match.ui.check.example_picture import WORDS, example_picture
from match.ui.guided import visit as guided
from match.ui.kit.notices import notices
from match.ui.marker.marks import from_region

CHECKLIST_SEEN = "checklist_seen"


def choose_photo() -> None:
    """Show the ways to a photo; once one can be read it is on the bench and the page starts again."""
    before, ways = st.columns([1, 1], gap="large")
    with before, st.expander("Before you take the photo", expanded=not st.session_state.get(CHECKLIST_SEEN)):
        st.html(checklist())
    with ways:
        _offer_file()
        _offer_camera()
        _offer_demo()
        _offer_guided()
        from_phone.show_count()
        st.html(
            '<p class="sm-title">What the photo should show</p><p class="sm-note">With a printed capture sheet '
            "(see the menu) the app finds card, car and grey by itself.</p>"
        )
        st.image(example_picture(), alt=WORDS, width=420)


def _offer_demo() -> None:
    if not st.button("Try the demo photo", key="demo_photo", icon=":material/play_circle:", width="stretch"):
        return
    libraries.wait()
    from match.demo.photos import demo_photo  # renders a scene from spectra: only for those who ask
    from match.ui.measured import read_photo

    with st.spinner("Making the demo photo…"):
        content, regions = demo_photo()
        photo = session.chosen("demo.jpg", content, is_demo=True)
        loaded = read_photo(photo)
    session.remember_marks(photo.digest, [from_region(region, loaded.width, loaded.height) for region in regions])
    _accept(photo)


def _offer_guided() -> None:
    if st.button("Practise on the demo photo", key="guided_begin", icon=":material/school:", width="stretch"):
        with st.spinner("Making the demo photo…"):
            guided.begin()
        st.rerun()


def _offer_file() -> None:
    uploaded = st.file_uploader(
        "Your photo of card, panel and grey",
        key="photo_file",
        help="JPEG, PNG, TIFF, HEIC or camera raw. The photo stays on the computer that runs this app.",
    )
    st.caption("On a phone, press Upload and choose the camera: it takes the photo at full size.")
    if uploaded is not None:
        _try(session.chosen(uploaded.name, uploaded.getvalue()), uploaded.file_id)


def _offer_camera() -> None:
    if not st.toggle("Use this computer's camera instead", key="photo_camera_on"):
        return
    taken = st.camera_input("Photo", key="photo_camera", label_visibility="collapsed", resolution="1080p")
    st.caption("A web camera is small and corrects colours by itself; a phone's or a real camera's file is better.")
    if taken is not None:
        _try(session.chosen("camera.jpg", taken.getvalue()), taken.file_id)


def _try(photo: session.ChosenPhoto, upload: str) -> None:
    libraries.wait()
    from match.ui.measured import read_photo

    try:
        read_photo(photo)
    except PhotoError as error:
        st.html(notices([("This file cannot be used.", error)]))
    else:
        if visit.is_phone():
            from_phone.send(photo, upload)
        _accept(photo)


def _accept(photo: session.ChosenPhoto) -> None:
    st.session_state[CHECKLIST_SEEN] = True
    session.put_photo(photo)
    st.rerun()
