"""The job in sentences: what to mix, how to set the gun, which coat goes where and when, and the usual cautions."""

from __future__ import annotations

from match.blend.coat_plans import BlendPractice
from match.blend.film import Gun
from match.blend.options import Way
from match.blend.plan import BlendPlan
from match.blend.sides import Length
from match.blend.steps import BAR_PER_PSI, JobPractice, JobSteps, Mix
from match.blend.wording import coat_lines, length
from match.words import capital

SHEET_FIRST = (
    "All of this is common practice, given as a starting point: the product's technical data sheet comes first."
)


def instruction_lines(
    plan: BlendPlan, steps: JobSteps, practice: BlendPractice, job: JobPractice, unit: Length
) -> tuple[str, ...]:
    """Return the job's steps in order, one sentence or two each."""
    gun = practice.guns[plan.gun]
    reduction = 100 * practice.fade.last_coat_reduction
    lines = [
        SHEET_FIRST,
        f"Mix base: {mix_words(steps.base)}, {steps.base.total_ml:.0f} ml ready to spray.",
        f"Set the gun for the base ({gun.words}): {gun_words(gun, unit)}.",
    ]
    for side in plan.sides:
        lines.extend(f"{capital(side.side.name)}: {line}" for line in coat_lines(side, practice, unit))
        if side.way is not Way.STOP and len(side.fade.coats) < len(steps.coats):
            lines.append(f"{capital(side.side.name)}: keep coat {len(steps.coats)} inside the repair.")
    lines.extend(_coat_lines(steps))
    if steps.last_coat_reducer_ml > 0.0:
        lines.append(
            f"Before the last coat stir {steps.last_coat_reducer_ml:.0f} ml more reducer into the paint kept for it "
            f"({reduction:.0f} % further)."
        )
    lines.append(
        f"Wait about {job.base.flash:.0f} minutes between coats, until dull, "
        f"and about {job.base.flash_before_clear:.0f} before the clear."
    )
    lines.extend(_clear_lines(steps, job, unit))
    lines.append(f"From the first coat to the last of clear: about {_hours(steps.minutes)}.")
    return tuple(lines)


def timeline_lines(steps: JobSteps) -> tuple[str, ...]:
    """Return the timeline, one line a spell: start and end in minutes, and what happens."""
    return tuple(f"{m.start_min:.0f} to {m.end_min:.0f} min: {m.words}" for m in steps.timeline)


def caution_lines(job: JobPractice) -> tuple[str, ...]:
    """Return the usual cautions."""
    return tuple(caution.words for caution in job.cautions.values())


def mix_words(mix: Mix) -> str:
    """Return "200 ml clear and 100 ml hardener"."""
    return " and ".join(f"{amount:.0f} ml {name}" for name, amount in mix.parts)


def gun_words(gun: Gun, unit: Length) -> str:
    """Return a gun's set-up in words, pressure in psi and bar."""
    return (
        f"about {gun.air_pressure:g} psi ({gun.air_pressure * BAR_PER_PSI:.1f} bar), needle {gun.needle_low:g} to "
        f"{gun.needle_high:g} turns open, {length(gun.gun_distance, unit)} from the panel, "
        f"fan {length(gun.fan_width, unit)}, {100 * gun.overlap:.0f} % overlap"
    )


def _coat_lines(steps: JobSteps) -> list[str]:
    return [
        f"Coat {coat.number}: about {coat.passes} passes, {coat.ready_ml:.0f} ml ready to spray, as far as said above."
        for coat in steps.coats
    ]


def _clear_lines(steps: JobSteps, job: JobPractice, unit: Length) -> list[str]:
    return [
        f"Mix clear: {mix_words(steps.clear)}.",
        f"Set the gun for the clear: {gun_words(job.clear.gun, unit)}.",
        f"Spray {steps.clear_coats} coats of clear over {length(steps.clear_width_mm, unit)} by "
        f"{length(steps.clear_height_mm, unit)}, {steps.clear_passes} passes each. Start and end every stroke off the "
        f"panel; never start, stop or pause on it or at a gap.",
    ]


def _hours(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"
