"""What ``tint`` prints for a person: the step advised, why, and how it looks by lamp light."""

from match.check.verdict import limit_words
from match.tint.answer import Action
from match.tint.look_first import LOOK_TITLE, look_words
from match.tint.pour import NextMix
from match.tint.story_words import card_words, cards_of
from match.tint.what_next import (
    ATTEMPT_DEEDS,
    CAUTIONS,
    LAMP_NOTE,
    LEARNING_NOTE,
    Answer,
    attempt_headline,
    formula_title,
    headline,
    lamp_lines,
    landing_sentence,
    left_sentence,
    other_mix_sentence,
    percents,
    strength_sentence,
)
from match.words import capital


def plain(found: Answer, batch_g: float) -> str:
    """Return the lines that a person reads."""
    advice, attempt, lines = found.advice, found.attempt, []
    if attempt:
        lines += [f"{attempt_headline(attempt)}. {ATTEMPT_DEEDS[attempt.recommendation]}"]
        lines += [LOOK_TITLE, *(f"  {words}" for words in look_words(attempt.look_first))] if attempt.look_first else []
        lines.append(left_sentence(attempt))
        lines += [f"  {reason}" for reason in attempt.reasons]
        lines += ["In the pot now: " + _grams(attempt.in_pot_g), ""]
    last = card_words(found.story, len(cards_of(found.story)))
    lines += [headline(found), f"  {last}; tinting stops at {limit_words(found.story.goal)}."]
    if not found.in_doubt:
        lines += _mix_lines(found.next_mix) if advice.action is Action.NEXT_MIX and found.next_mix else []
        lines += _amount_lines(found, batch_g)
        lines += [f"  Why: {reason}" for reason in advice.reasons]
        lines += [f"  {landing_sentence(advice)}"] if advice.is_step else []
        lines += [f"  {other_mix_sentence(found)}"] if other_mix_sentence(found) else []
    strengths = [f"  {capital(strength_sentence(response))}" for response in found.responses]
    lines += ["Strengths (model or learned):", *strengths, f"  {LEARNING_NOTE}"] if strengths else []
    if advice.is_step and not found.in_doubt:
        lines += ["In lamp light:", *(f"  {line}" for line in lamp_lines(advice)), f"  {LAMP_NOTE}"]
        lines += ["Take care:", *(f"  {caution}" for caution in CAUTIONS)]
    return "\n".join(lines)


def _mix_lines(mix: NextMix) -> list[str]:
    """Return the pour list: grams, and what the scale shows after each."""
    rows = [(pour.name, pour.g, pour.running_total_g, pour.percent_before, pour.percent) for pour in mix.toners]
    wide = max(len(name) for name, *_ in rows)
    lines = [f"  {'':{wide}}  {'pour':>9}  {'scale':>9}"]
    lines += [
        f"  {name:{wide}}  {g:7.2f} g  {total:7.2f} g   ({before:.2f} % of the paint, now {after:.2f} %)"
        for name, g, total, before, after in rows
    ]
    if mix.binder_g > 0:
        lines.append(f"  {'clear binder':{wide}}  {mix.binder_g:7.2f} g  {mix.poured_g:7.2f} g")
    return lines


def _amount_lines(found: Answer, batch_g: float) -> list[str]:
    advice = found.advice
    lines = [
        f"  {amount.name}: {amount.pot_g:.2f} g = {amount.percent:.2f} % of the pot (calculated in full: "
        f"{amount.full_g:.2f} g)"
        for amount in advice.amounts
    ]
    if batch_g > 0 and advice.batch_g:
        lines.append(f"  All additions so far and this one, for a batch of {batch_g:g} g: {_grams(advice.batch_g)}")
    if found.formula_parts is not None and (advice.amounts or found.story.steps):
        percent = percents(found.formula_parts)
        parts = ", ".join(f"{name} {p:.2f} ({percent[name]:.2f} %)" for name, p in found.formula_parts.items())
        lines.append(f"  {formula_title(advice)}, in parts: {parts}")
    return lines


def _grams(amounts: dict[str, float]) -> str:
    return ", ".join(f"{name} {grams:.2f} g" for name, grams in amounts.items())
