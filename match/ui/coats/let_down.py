"""The let-down card: a photo for each step, and the number of mid-coats that comes nearest to the car."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import streamlit as st

from match.check.settings import CheckSettings
from match.check.verdict import Verdict, sure_words
from match.coats.judge import StepsAnswer, judge_steps
from match.coats.let_down import spoken_coats
from match.coats.let_down_picture import let_down_picture, let_down_words
from match.coats.rules import load_coats_rules
from match.errors import MatchError
from match.photo.regions import Kind
from match.several.photo_set import Angle, MarkedPhoto, MeasuredPhoto, PhotoUse, Role
from match.several.travel import ANGLE_WORDS
from match.ui import measured, session
from match.ui.kit import say
from match.ui.kit.banner import banner
from match.ui.kit.cautions import spraying
from match.ui.kit.layout import COLUMNS, PICTURE_WIDTH_PX
from match.ui.kit.notices import notices
from match.ui.kit.style import text
from match.ui.kit.typed import number
from match.ui.marker.box_names import called_in_set, called_on
from match.ui.marker.marking import missing
from match.ui.marker.marks import CHECK_KINDS, from_region, to_regions
from match.ui.marker.page_photo import lacks, mark, marks_of, put_marks, upload
from match.ui.session import ChosenPhoto
from match.words import capital

PAGE = "let-down"
MOST_STEPS = 18
"""Engineering choice: six steps at three angles."""
_STEPS, _BENCH = "let_down_steps", "let_down_bench"
_ANGLES = (Angle.FACE, Angle.NEAR_GLARE, Angle.FLOP)


@dataclass(frozen=True)
class Step:
    """One photo of the card: its mid-coats, its angle, and whether a person has looked at its marks."""

    photo: ChosenPhoto
    coats: float
    angle: Angle = Angle.FACE
    accepted: bool = False

    @property
    def name(self) -> str:
        """What the step is called on the page."""
        return f"{self.coats:g} coat{'' if self.coats == 1 else 's'}, {ANGLE_WORDS[self.angle]}"


def show_let_down() -> None:
    """Show the steps and, once two are marked, the answer."""
    steps = _steps()
    if not steps:
        _begin()
        return
    step = _bench(steps)
    left, right = st.columns(COLUMNS, gap="large")
    with left:
        if step.photo.is_demo:
            say.note("Demo photos: an invented car and card.")
        step = _ask_step(_choose_bench(steps, step))
        marks = mark(step.photo, PAGE, CHECK_KINDS)
    with right:
        if not lacks(marks, CHECK_KINDS):
            _ask_to_accept(step)
        _show_answer(_steps())
        _offer_more(_steps())


def _begin() -> None:
    why, ways = st.columns([1, 1], gap="large")
    with why:
        st.html(
            '<p class="sm-lead">For three-stage paint: spray one card with one, two, three and four mid-coats over the '
            "ground coat, clear it, and photograph each step beside the car, with a grey reference.</p>"
            '<p class="sm-note">One photo a step. Photograph every step at the same angles: face-on, and for pearl at '
            "the flop and near the glare too.</p>"
        )
    with ways:
        photo = upload("Photo of the first step", "let_down_file-0")
        if photo is not None:
            _put((Step(photo, 1.0, accepted=True),), photo)
            st.rerun()
        if st.button("Try the demo steps", key="let_down_demo", icon=":material/play_circle:", width="stretch"):
            _put_demo()
            st.rerun()


def _put_demo() -> None:
    from match.demo.card_photos import HEIGHT, WIDTH, let_down_demo  # draws pictures: only for those who ask

    steps = []
    for demo in let_down_demo():
        photo = session.chosen(demo.name, demo.content, is_demo=True)
        regions = (*demo.greys, demo.places[0], replace(demo.places[1], kind=Kind.VEHICLE))
        put_marks(photo, PAGE, [from_region(region, WIDTH, HEIGHT) for region in regions])
        steps.append(Step(photo, float(demo.mid_coats or 0.0), accepted=True))
    _put(tuple(steps), steps[0].photo)


def _steps() -> tuple[Step, ...]:
    return tuple(st.session_state.get(_STEPS, ()))


def _put(steps: tuple[Step, ...], shown: ChosenPhoto | None = None) -> None:
    st.session_state[_STEPS] = steps
    if shown is not None:
        st.session_state[_BENCH] = shown.digest


def _change(old: Step, new: Step) -> None:
    _put(tuple(new if each.photo.digest == old.photo.digest else each for each in _steps()))


def _bench(steps: Sequence[Step]) -> Step:
    digest = st.session_state.get(_BENCH)
    return next((each for each in steps if each.photo.digest == digest), steps[0])


def _choose_bench(steps: Sequence[Step], shown: Step) -> Step:
    """Let another step be put on the bench."""
    if len(steps) < 2:
        return shown
    names = {each.photo.digest: each.name + ("" if each.accepted else " (mark it)") for each in steps}
    picked = st.selectbox(
        "Step on the bench",
        list(names),
        index=list(names).index(shown.photo.digest),
        format_func=lambda digest: names[digest],
        key=f"let_down_pick-{shown.photo.digest[:12]}-{len(steps)}",
    )
    if picked and picked != shown.photo.digest:
        st.session_state[_BENCH] = picked
        st.rerun()
    return shown


def _ask_step(step: Step) -> Step:
    """Ask what the step on the bench carries and from where it was taken."""
    key = step.photo.digest[:12]
    with st.container(horizontal=True, vertical_alignment="bottom"):
        coats = number(
            "Mid-coats on this step",
            step.coats,
            0.0,
            20.0,
            key=f"let_down_coats-{key}",
            step=0.5,
            digits=1,
            unit="coats",
        )
        angle = st.selectbox(
            "Seen from",
            _ANGLES,
            index=_ANGLES.index(step.angle),
            format_func=lambda each: capital(ANGLE_WORDS[each]),
            key=f"let_down_angle-{key}",
        )
    new = replace(step, coats=float(coats), angle=angle or Angle.FACE)
    if new != step:
        _change(step, new)
        st.rerun()
    return step


def _ask_to_accept(step: Step) -> None:
    if step.accepted:
        return
    st.html(
        '<div class="sm-found" role="status"><b>These boxes come from the step before</b>'
        "<p>Look at each box: it must lie inside what it names. Drag what does not. This step does not count before "
        "you accept.</p></div>"
    )
    if st.button("Use these marks", key="let_down_accept", type="primary", icon=":material/check:", width="stretch"):
        _change(step, replace(step, accepted=True))
        st.rerun()


def _offer_more(steps: tuple[Step, ...]) -> None:
    shown = _bench(steps)
    if len(steps) < MOST_STEPS:
        photo = upload("Add a photo of another step", f"let_down_file-{len(steps)}")
        if photo is not None and photo.digest in {each.photo.digest for each in steps}:
            say.notice("This photo is here already.", "A photo counts once: take another one.")
        elif photo is not None:
            put_marks(photo, PAGE, marks_of(shown.photo, PAGE))
            coats = max(each.coats for each in steps) + 1.0
            _put((*steps, Step(photo, coats, shown.angle)), photo)
            st.rerun()
    with st.container(horizontal=True):
        if len(steps) > 1 and st.button("Take this step out", key="let_down_remove", icon=":material/delete:"):
            _put(tuple(each for each in steps if each != shown))
            st.rerun()
        if st.button("Start again", key="let_down_again", icon=":material/photo_camera:"):
            _put(())
            st.rerun()


def _show_answer(steps: Sequence[Step]) -> None:
    ready = [each for each in steps if each.accepted and not missing(marks_of(each.photo, PAGE))]
    if len({each.coats for each in ready}) < 2:
        st.html(
            '<div class="sm-waiting"><b>Two steps are needed at least.</b><p>Add a photo of a step with another number '
            "of mid-coats; the answer then appears here.</p></div>"
        )
        return
    try:
        marked = _marked(ready)
        answer = _answered(marked)
    except MatchError as error:
        say.notice("These steps cannot be judged yet.", error)
        return
    result, names = answer.result, called_in_set({photo.name: photo.regions for _, photo in marked})
    if answer.must_retake:
        spoiled = next(each for each in answer.photo_findings if each.spoils)
        st.html(banner(Verdict.RETAKE, spoiled.text(names), "Take that step again."))
    else:
        left = result.remaining[result.worst]
        size = (
            f"{left.delta_e00:.1f} (95 % sure between {left.interval[0]:.1f} and {left.interval[1]:.1f}) is left "
            f"{ANGLE_WORDS[result.worst]}"
        )
        if result.verdict is Verdict.RETINT:
            deed, reason = "No step will do.", f"Nearest is {result.coats:.1f} mid-coats, and {size}."
        else:
            deed, reason = f"Spray {result.coats:.1f} mid-coats.", f"With that, a difference of {size}."
        st.html(banner(result.verdict, reason, deed, sure_words(result.verdict, left.decision)))
        low, high = result.interval
        st.html(
            f'<p class="sm-meaning"><b>{result.coats:.1f} mid-coats</b>, 95 % sure between {low:.1f} and {high:.1f}: '
            f"{text(spoken_coats(result.coats))}.</p>"
        )
        st.image(let_down_picture(result, answer.limits), alt=let_down_words(result), width=PICTURE_WIDTH_PX)
        say.note(f"{answer.limits_sentence} {result.odds}")
    found = (*answer.photo_findings, *result.findings)
    if found:
        st.html(notices((each.text(names), each.remedy(names)) for each in found))
    st.html("".join(f'<p class="sm-note">{text(note)}</p>' for note in answer.notes) + spraying())


def _answered(marked: Sequence[tuple[Step, MarkedPhoto]]) -> StepsAnswer:
    photos = []
    for step, photo in marked:
        try:
            photos.append(measured.photo_of_set(step.photo, photo))
        except MatchError as error:
            raise type(error)(f"{step.name}: {error.said(called_on(photo.regions))}") from None
    return _judged([step.photo for step, _ in marked], photos)


def _marked(steps: Sequence[Step]) -> list[tuple[Step, MarkedPhoto]]:
    """Return the steps as photos of one set: a second photo of a step at an angle is a repeat."""
    marked = []
    seen: Counter[tuple[float, Angle]] = Counter()
    for step in steps:
        regions = to_regions(marks_of(step.photo, PAGE), *measured.size_px(step.photo))
        seen[step.coats, step.angle] += 1
        again = seen[step.coats, step.angle]
        name = step.name if again == 1 else f"{step.name} (photo {again})"
        use = PhotoUse(step.angle, Role.FIRST if again == 1 else Role.REPEAT, mid_coats=step.coats)
        marked.append((step, MarkedPhoto(name, use, regions)))
    return marked


@st.cache_resource(max_entries=16, show_spinner="Fitting the steps…", hash_funcs=measured.KNOWN_BY)
def _judged(chosen: Sequence[ChosenPhoto], photos: Sequence[MeasuredPhoto]) -> StepsAnswer:
    return judge_steps(photos, CheckSettings(), load_coats_rules())
