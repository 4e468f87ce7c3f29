"""The figures behind the verdict, each with its plain meaning, and the file that holds them all."""

import json
from collections.abc import Iterable

import streamlit as st

from match.check.result import METHOD_VERSION, CheckResult
from match.check.verdict import chance_words
from match.check.words import DEEDS
from match.ui.kit.download import download
from match.ui.kit.notices import sentence, steps, table
from match.ui.kit.style import text
from match.ui.session import LatestCheck
from match.words import capital

HOW_TO_READ = (
    "Both colours are shown as they would look in the same light. A screen shows the difference, not the paint. "
    "Diamond: best estimate. Bar: 95 % sure that the difference lies inside it. CIEDE2000 is the standard figure for "
    "how different two colours look."
)
SOURCE_MEANINGS = {
    "paint and light": "Texture of the paint, and light that is not quite even across the frame.",
    "grey reference": "How exactly the grey's reflectance and neutrality are known.",
    "tone curve": "The camera's contrast; more grey steps pin it down.",
    "camera and grey": "What camera and grey reference do to a difference; more photos do not lessen it.",
    "light and placement": "Uneven light and how the card lay; more photos lessen it.",
    "mirrored surroundings": "What the clear coat mirrors, where card and car do not mirror the same.",
    "camera colour": "A camera sees colours a little differently from an eye.",
}


def show_details(check: LatestCheck) -> None:
    """Show the folded details and the button that saves them."""
    result = check.result
    with st.expander("Details"):
        st.html(_titled("How likely each is to be the right call", _chances(result)) + _read(result))
        st.html(steps(result.reasons))
        st.html(_titled("Figures", table(("Figure", "Value", "Meaning"), _figures(result))))
        st.html(_titled("Where the uncertainty comes from", table(("Source", "CIEDE2000", "Meaning"), _budget(check))))
        st.html(_titled("Settings", table(("Setting", "Value"), _settings(check))))
        if result.notes:
            st.html(_titled("About the file", steps(result.notes)))
        written = json.dumps(check.document(), indent=2)
        download("Save the figures (JSON)", written, "spray-out-check.json", width="stretch")


def _chances(result: CheckResult) -> str:
    items = "".join(
        f'<li class="{"chosen" if verdict is result.verdict else ""}">'
        f"<b>{chance_words(probability)}</b>{DEEDS[verdict][0]}</li>"
        for verdict, probability in result.decision.probabilities.items()
    )
    return f'<ul class="sm-chances">{items}</ul>'


def _read(result: CheckResult) -> str:
    """Return how the pictures of the answer are read, and what the difference means to the eye."""
    meaning = f"<p>{text(sentence(result.meaning))}</p>" if result.figures_hold else ""
    return f'<div class="sm-meaning">{meaning}<p>{HOW_TO_READ}</p></div>'


def _titled(title: str, content: str) -> str:
    return f'<p class="sm-title">{title}</p>{content}'


def _figures(result: CheckResult) -> list[tuple[str, ...]]:
    m = result.measurement
    low, high = m.interval
    return [
        ("Difference", f"{m.delta_e00:.2f}", "CIEDE2000 of the two colours as read."),
        ("95 % interval", f"{low:.2f} to {high:.2f}", "The true difference is in here 95 times in 100."),
        (
            "Without the lift of noise",
            f"{m.unbiased_delta_e00:.2f}",
            "Errors alone show some difference; this is what is left.",
        ),
        ("Lightness", f"{m.terms.lightness:+.2f}", "Above 0: the card is lighter. In CIEDE2000 steps, as below."),
        ("Chroma", f"{m.terms.chroma:+.2f}", "Above 0: the card is more chromatic, stronger in colour."),
        ("Hue", f"{m.terms.hue:+.2f}", "The turn of hue; the picture above shows which way."),
        ("Card L*, a*, b*", _triple(m.card_lab), "Lightness; green to red; blue to yellow (D65, 2 degrees)."),
        ("Car L*, a*, b*", _triple(m.vehicle_lab), "The same for the car."),
        ("Card minus car", _triple(result.delta_lab, "+"), "In the same three directions."),
        ("Standard deviation", _triple(m.delta_lab_sd), "How far that difference would scatter in repeat photos."),
    ]


def _budget(check: LatestCheck) -> list[tuple[str, ...]]:
    together = check.together
    governing = together.by_angle[together.effect.worst] if together else None
    budget = governing.budget if governing else check.result.measurement.budget
    ordered = sorted(budget.items(), key=lambda entry: -entry[1])
    return [(capital(name), f"{size:.2f}", SOURCE_MEANINGS.get(name, "")) for name, size in ordered]


def _settings(check: LatestCheck) -> list[tuple[str, ...]]:
    result = check.result
    return [
        ("Photo", check.photo_name),
        ("Photo's SHA-256", check.photo_digest[:16] + "…"),
        ("Finish", result.settings.finish.value),
        ("Junction", result.settings.junction.value.replace("-", " ")),
        ("Limits", result.thresholds.words),
        ("Tolerances", result.tolerances_version),
        ("Calibration", result.calibration_fingerprint),
        ("Method", METHOD_VERSION),
    ]


def _triple(values: Iterable[float], sign: str = "") -> str:
    return ", ".join(f"{float(value):{sign}.2f}" for value in values)
