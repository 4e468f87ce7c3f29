"""The answer: verdict, the two colours, the difference with its uncertainty, its direction, and what to do."""

import streamlit as st

from match.check.mirrored import Mirrored, surroundings
from match.check.next_step import NextStep
from match.check.result import CheckResult
from match.check.step_errors import StepCode
from match.check.verdict import Verdict, chance_words
from match.check.words import DEEDS, DoubtCode
from match.measure.photo_code import PhotoCode
from match.photo.cut_outs import box_names
from match.several.travel import ANGLE_WORDS
from match.ui import measured, session
from match.ui.check.interval_picture import interval_picture, interval_words
from match.ui.check.mend import ask_whether_right, offer_exchange, offer_mend, offer_to_take_back
from match.ui.check.next_page import link_to_next
from match.ui.check.shift_picture import shift_picture, shift_words
from match.ui.kit import say
from match.ui.kit.banner import banner, in_view
from match.ui.kit.cautions import spraying
from match.ui.kit.layout import COLUMNS, PICTURE_WIDTH_PX
from match.ui.kit.notices import folded, notices, sentence, steps
from match.ui.kit.strip import strip
from match.ui.kit.swatches import swatches
from match.ui.marker.box_names import called_in, said_right
from match.ui.session import LatestCheck
from match.words import capital


def show_verdict(check: LatestCheck) -> None:
    """Show the verdict, what to do about it, and, where the photo can be relied on, the two colours."""
    result, said = check.result, check.result.said(called_in(check))
    _show_marked(check)
    deed = _deed(check)
    st.html(banner(result.verdict, said.reason, deed, result.sure) + in_view(result.verdict, deed))
    if check.cards:
        say.meaning(" ".join(check.cards.sentences), is_news=True)
    if result.parts:
        st.header("Other parts", anchor=False)
        st.html(notices(part.sentences(called_in(check)) for part in result.parts))
    if said.warnings:
        st.header("What to change" if result.verdict is Verdict.RETAKE else "Keep in mind", anchor=False)
        st.html(notices(("" if each.is_reason else each.text, each.remedy) for each in said.warnings))
    offer_mend(check)
    ask_whether_right(check)
    offer_exchange(check)
    _ask_mirrored(result)
    if said.advice and result.verdict is not Verdict.RETAKE:
        st.header("Do next", anchor=False)
        planned = link_to_next(result)
        st.html(folded("Steps", steps(said.advice)) if planned else steps(said.advice))
        st.html(spraying())
    if better := not_told(result):
        st.header("To be surer", anchor=False)
        st.html(steps(step.words for step in better))
    if result.verdict is not Verdict.RETAKE:
        _show_colours(result, angle_that_governs(check))


def not_told(result: CheckResult) -> list[NextStep]:
    """Return what would make the answer surer, but for the step that a warning asks for with its gain already."""
    one_sided = any(found.code is DoubtCode.ONE_SIDED for found in result.warnings)
    return [step for step in result.better if not (one_sided and step.code is StepCode.SECOND_CAR_BOX)]


def _show_marked(check: LatestCheck) -> None:
    """Show what was measured: every box of every photo."""
    files = {each.digest: each for each in session.photos()}
    for photo in check.photos or (check.photo,):
        if photo.sha256 in files:
            several = len(check.photos) > 1
            title = f"What was measured in {photo.name}" if several else "What was measured"
            shown = measured.cut_outs(files[photo.sha256], photo.regions)
            st.html(strip(box_names(photo.regions), shown, title, is_titled=several))
            if word := said_right(photo.regions):
                say.note(word)
                offer_to_take_back(photo.sha256)


def _ask_mirrored(result: CheckResult) -> None:
    """Ask what the paint mirrors where that matters, and as long as it was said."""
    if not (st.session_state.get(session.MIRRORED) or any(each.code is PhotoCode.MIRRORS for each in result.warnings)):
        return
    st.selectbox(
        "What do card and car mirror?",
        [each.value for each in Mirrored],
        index=None,
        format_func=lambda each: capital(surroundings(Mirrored(each)).words),
        placeholder="Not known",
        key=session.MIRRORED,
        persist_state="session",
    )


def show_difference(check: LatestCheck) -> None:
    """Show how far apart the two colours are, and which way; folded where the photo cannot be relied on."""
    if check.result.verdict is not Verdict.RETAKE:
        _show_size_and_direction(check.result, angle_that_governs(check))
        return
    with st.expander("What this photo shows all the same"):
        _show_colours(check.result, angle_that_governs(check))
        if check.result.figures_hold:
            _show_size_and_direction(check.result, angle_that_governs(check))
        else:
            say.meaning(" ".join(check.result.reasons))


def angle_that_governs(check: LatestCheck) -> str:
    """Return ``, at the flop`` where figures of one angle of several are shown, else nothing."""
    together = check.together
    return f", {ANGLE_WORDS[together.effect.worst]}" if together and len(together.by_angle) > 1 else ""


def _show_size_and_direction(result: CheckResult, where: str) -> None:
    size, way = st.columns(COLUMNS, gap="large")
    with size:
        _show_size(result, where)
    with way:
        _show_direction(result, where)


def _deed(check: LatestCheck) -> str:
    """Return what to do, in three or four words."""
    missing = check.together.effect.missing if check.together else ()
    if check.result.verdict is Verdict.RETAKE and missing:
        return "Take one more photo." if len(missing) == 1 else "Take more photos."
    return DEEDS[check.result.verdict][1]


def _show_colours(result: CheckResult, where: str) -> None:
    measurement = result.measurement
    if where:
        st.header(f"The two colours{where}", anchor=False)
    st.html(
        swatches(measurement.card_lab, measurement.vehicle_lab)
        + '<p class="sm-note">Judge the card itself in daylight before you spray.</p>'
    )


def _show_size(result: CheckResult, where: str) -> None:
    measurement, limits = result.measurement, result.thresholds
    size, interval = measurement.delta_e00, measurement.interval
    st.header(f"How far apart{where}", anchor=False)
    st.html(
        f'<p class="sm-figure"><span class="number">{size:.1f}</span>'
        f'<span class="unit">CIEDE2000, 95 % sure between {interval[0]:.1f} and {interval[1]:.1f}</span></p>'
    )
    picture = interval_picture(size, interval, limits)
    st.image(picture, alt=interval_words(size, interval, limits), width=PICTURE_WIDTH_PX)
    surprises = _surprises(result)
    if surprises:
        st.html("".join(f'<p class="sm-note">{told}</p>' for told in surprises))


def _surprises(result: CheckResult) -> list[str]:
    """Return what a reader of the figures would wonder at, explained; what is read once stands in the details."""
    told = (_outside_the_bar(result.measurement.delta_e00, result.measurement.interval), _cheaper_than_likelier(result))
    return [each for each in told if each]


def _outside_the_bar(size: float, interval: tuple[float, float]) -> str:
    """Explain a reading that its own interval leaves out: the bar is about the paint, the diamond about this photo."""
    if interval[0] <= size <= interval[1]:
        return ""
    return (
        "Here the diamond lies outside the bar: it is the difference as read, and this photo's own errors lift a small "
        "difference. The bar has that taken off, and the verdict rests on the bar."
    )


def _cheaper_than_likelier(result: CheckResult) -> str:
    """Explain a verdict that is not the most likely one: a wrong call costs more one way than the other."""
    probabilities = result.decision.probabilities
    if result.verdict is Verdict.RETAKE or probabilities[result.verdict] >= max(probabilities.values()):
        return ""
    likely = ", ".join(f"{DEEDS[verdict][0]} {chance_words(chance)}" for verdict, chance in probabilities.items())
    return (
        f"Likely right: {likely}. {DEEDS[result.verdict][0]} is not the likeliest, but the cheapest to be wrong about, "
        "by the hours in your tolerances file."
    )


def _show_direction(result: CheckResult, where: str) -> None:
    sd = result.measurement.delta_lab_sd
    if where:
        st.header(f"Which way it is off{where}", anchor=False)
    say.meaning(sentence(result.direction))
    st.image(shift_picture(result.delta_lab, sd), alt=shift_words(result.delta_lab, sd), width=PICTURE_WIDTH_PX)
