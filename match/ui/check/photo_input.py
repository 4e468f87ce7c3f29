"""Choose a photo: a file, this device's camera, or the demonstration."""

import streamlit as st

from match.errors import MatchError, PhotoError
from match.history.place import history_place, is_begun
from match.ui import from_phone, libraries, session, visit
from match.ui.check.checklist import checklist
from match.ui.check.example_picture import WORDS, example_picture
from match.ui.guided import visit as guided
from match.ui.kit import say
from match.ui.marker.marks import from_region
from match.ui.menu import menu_page

CHECKLIST_SEEN = "checklist_seen"


def choose_photo() -> None:
    """Show the ways to a photo; once one can be read it is on the bench and the page starts again."""
    is_first = _is_first_visit()
    if is_first:
        _offer_guided(is_first)
    before, ways = st.columns([1, 1], gap="large")
    with before, st.expander("Before you take the photo", expanded=not st.session_state.get(CHECKLIST_SEEN)):
        st.image(example_picture(), alt=WORDS, width=420)
        st.html(checklist())
    with ways:
        _offer_file()
        _offer_camera()
        _offer_demo()
        if not is_first:
            _offer_guided(is_first)
        from_phone.show_count()
        st.page_link(
            menu_page("Capture sheet"), label="Print a capture sheet: it marks itself", icon=":material/print:"
        )


def _is_first_visit() -> bool:
    """Return whether nothing was ever saved here: practice then comes first."""
    try:
        return not (st.session_state.get(CHECKLIST_SEEN) or is_begun(history_place()))
    except MatchError:
        return False  # a place that is none is said where something is kept


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


def _offer_guided(is_first: bool) -> None:
    pressed = st.button(
        "Practise on the demo photo",
        key="guided_begin",
        type="primary" if is_first else "secondary",
        icon=":material/touch_app:",
        width=420 if is_first else "stretch",
    )
    if pressed:
        with st.spinner("Making the demo photo…"):
            guided.begin()
        st.rerun()


def _offer_file() -> None:
    uploaded = st.file_uploader(
        "Your photo",
        key="photo_file",
        help="Card, panel and grey together, as JPEG, PNG, TIFF, HEIC or camera raw. On a phone, press Upload and "
        "choose the camera: it takes the photo at full size. The photo stays on the computer that runs this app.",
    )
    st.caption("On a phone, Upload offers its camera.")
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
        say.notice("This file cannot be used.", error)
    else:
        if visit.is_phone():
            from_phone.send(photo, upload)
        _accept(photo)


def _accept(photo: session.ChosenPhoto) -> None:
    st.session_state[CHECKLIST_SEEN] = True
    session.put_photo(photo)
    st.rerun()
