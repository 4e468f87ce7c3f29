"""``history show``: what is kept of a check, a pot or a panel, and the timeline of a colour."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from match.commands.history_action import plain
from match.commands.history_pot import pot_lines
from match.commands.kept_panel import panel_lines
from match.errors import StoreError
from match.words import capital

if TYPE_CHECKING:
    from match.history.store import Store


def shown(store: Store, record_id: str) -> tuple[Any, list[str]]:
    """Return what is kept of a check, a colour, a pot or a panel; the refusal of the first where it is none of them."""
    refused = []
    for look in (_shown_check, _shown_colour, _shown_pot, _shown_panel):
        try:
            return look(store, record_id)
        except StoreError as error:
            refused.append(error)
    raise refused[0]


def _shown_pot(store: Store, pot_id: str) -> tuple[Any, list[str]]:
    from match.history.words import day_and_time

    pot = store.get_pot(pot_id)
    return plain(pot), [f"{day_and_time(pot.created_at)}  {pot.name}", *pot_lines(pot)]


def _shown_panel(store: Store, panel_id: str) -> tuple[Any, list[str]]:
    from match.history.words import day_and_time

    panel = store.get_panel(panel_id)
    return plain(panel), [day_and_time(panel.created_at), *panel_lines(panel)]


def _shown_check(store: Store, check_id: str) -> tuple[Any, list[str]]:
    from match.check.marks.code import said_of
    from match.history.check_marks import marks_by_photo
    from match.history.words import again_words, check_line, reason_lines, unreadable_line

    check = store.get_check(check_id)
    outcomes = store.outcomes_of(check_id)
    lines = [check_line(check), *(f"  {line}" for line in reason_lines(check))]
    marks = marks_by_photo(check)
    for photo in check.photos:
        lines.append(f"  Photo {photo.name}: {photo.size_bytes} bytes, {photo.state}.")
        regions = marks.get(photo.sha256, ())
        lines += [f"  {word}"] if (word := said_of(regions, [region.name for region in regions])) else []
    lines += [f"  Note: {check.note}"] if check.note else []
    if check.card:
        lines.append(_card_line(store, check.card))
        found = store.checked_again(check.card)
        lines += [f"  {again_words(found)}"] if found else []
    lines += [f"  Corrects {check.corrects}."] if check.corrects else []
    lines += [f"  Corrected by {check.corrected_by}."] if check.corrected_by else []
    lines += [
        f"  Outcome: hidden {each.hidden}, came back {each.came_back}. {each.notes}".rstrip() for each in outcomes
    ]
    lines += [f"  {unreadable_line(each)}" for each in store.unreadable_outcomes(check_id)]
    return plain(check) | {"outcomes": [plain(each) for each in outcomes]}, lines


def _card_line(store: Store, card_id: str) -> str:
    try:
        card = store.get_card(card_id)
    except StoreError as unreadable:
        return f"  {capital(str(unreadable))}."
    fields = ("mix", "batch", "gun", "coats", "reducer", "undercoat", "tinted", "notes", "place")
    told = [f"{name} {getattr(card, name)}" for name in fields if getattr(card, name)]
    return f"  Card {card.id}: {'; '.join(told) or 'nothing noted'}."


def _shown_colour(store: Store, colour_id: str) -> tuple[Any, list[str]]:
    from match.history.timeline import best_told
    from match.history.words import check_line, colour_title, day_and_time, standing_words, unreadable_line

    story = store.timeline(colour_id)
    lines = [colour_title(story.colour)]
    for entry in story.entries:
        mix = f"card {entry.card.mix or entry.card.id}: " if entry.card else ""
        lines.append(f"  {mix}{check_line(entry.check) if entry.check else day_and_time(entry.at) + '  not checked'}")
    lines += [f"  {unreadable_line(each)}" for each in story.unreadable]
    found = store.standing(colour_id)
    best = best_told(story, found)
    if best and best.card and best.check:
        gun = f", gun {best.card.gun}" if best.card.gun else ""
        place = f", {best.card.place}" if best.card.place else ""
        lines.append(f"  Best card so far: {best.card.mix or best.card.id}{gun}{place}.")
    for pot in story.pots:
        lines.append(f"  Pot of {day_and_time(pot.created_at)}: {pot.name}, {len(pot.cards)} cards.  {pot.id}")
    for panel in story.panels:
        lines.append(f"  Panel of {day_and_time(panel.created_at)}: {panel.name}.  {panel.id}")
    lines += [f"  {line}" for line in standing_words(found)] if found else []
    return plain(story) | {"best": plain(best) if best else None, "standing": plain(found) if found else None}, lines
