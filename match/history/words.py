"""What the history keeps, said in a line: shared by the command line and the pages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar

from match.check.verdict import chance_words
from match.history.again import Again, Changed
from match.history.archive import ExportSummary, ImportSummary
from match.history.best_card import HeldCard, Standing
from match.history.learning import HeldCount
from match.history.portable import REVISION
from match.history.record_kinds import KINDS
from match.history.records import (
    RETAKE,
    CardRecord,
    CheckRecord,
    CheckRow,
    ColourRecord,
    DeletedRecord,
    Kept,
    NearColour,
    NewColour,
    StoreHealth,
    UnreadableRecord,
)
from match.history.rights import Rights
from match.words import capital, listed

if TYPE_CHECKING:
    from match.history.store import Store

Titled = TypeVar("Titled", bound=Kept)

MOST_SENTENCES = 100

KIND_NAMES = {**{kind.name: kind.title for kind in KINDS}, REVISION: "old version"}
"""What one record of each kind is called; an s makes it several."""

END_WORDS = {
    "open": "not ended yet",
    "held": "on the car, and it held",
    "seen": "on the car, and it shows",
    "given up": "given up",
}


def day_and_time(moment: datetime) -> str:
    """Return a time as this computer's clock shows it."""
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")


def colour_title(colour: NewColour | ColourRecord) -> str:
    """Return a colour's name and code."""
    return named(colour.name, colour.code)


def told_apart(records: Sequence[Titled], title: Callable[[Titled], str]) -> Callable[[Titled], str]:
    """Return what to call each of several records in a list to choose from, where no two may read the same.

    A list on a page knows its lines by their words: of two that read alike it would give the last for either. Such are
    called by the time they were kept and the beginning of their id as well.
    """
    count = Counter(title(record) for record in records)

    def told(record: Titled) -> str:
        words = title(record)
        return words if count[words] < 2 else f"{words}, {day_and_time(record.created_at)} ({record.id[:6]})"

    return told


def card_title(card: CardRecord) -> str:
    """Return a card's mix, day and place."""
    parts = (card.mix or "card", f"{card.created_at.astimezone():%Y-%m-%d}", card.place)
    return ", ".join(part for part in parts if part)


def named(name: str, code: str) -> str:
    """Return a name with its code in brackets, or whichever of the two there is."""
    if name and code:
        return f"{name} ({code})"
    return name or code or "no colour named"


def size_words(row: CheckRow) -> str:
    """Return the difference with its interval; a retake's decides nothing, and may be the photo's own fault."""
    if row.delta_e00 is None:
        return "difference not measured"
    return _size(row.delta_e00, row.delta_e00_interval, row.verdict)


def _size(delta_e00: float, interval: Sequence[float] | None, verdict: str) -> str:
    between = "" if interval is None else f" ({interval[0]:.1f} to {interval[1]:.1f})"
    return f"{delta_e00:.1f}{between}{', does not count' if verdict == RETAKE else ''}"


def reason_lines(check: CheckRecord) -> tuple[str, ...]:
    """Return what a check said at that time, in sentences: why, of which card, in figures, and what it looks like."""
    told = [str(check.result.get("reason", ""))]
    if sure := str(check.result.get("sure", "")):
        told = [f"{capital(sure)}. {told[0]}".strip()]
    return (*filter(None, told), *figure_lines(check))


def figure_lines(check: CheckRecord) -> tuple[str, ...]:
    """Return the same without the reason, which stands by itself on a page."""
    told = [*cards_lines(check), *(str(reason) for reason in _items(check.result.get("reasons")))]
    meaning = str(check.result.get("meaning", ""))
    return (*told, *((f"What that looks like: {meaning}.",) if meaning else ()))


def cards_lines(check: CheckRecord) -> tuple[str, ...]:
    """Return which of several cards in the photo the check is of, and what each one read; nothing of a single card."""
    comparison = check.result.get("comparison")
    said = _items(comparison.get("sentences")) if isinstance(comparison, Mapping) else ()
    cards = [each for each in _items(check.result.get("cards")) if isinstance(each, Mapping)]
    return (*(str(sentence) for sentence in said), *filter(None, map(_card_line, cards)))


def _card_line(card: Mapping[str, Any]) -> str:
    match card:
        case {
            "name": str(name),
            "verdict": str(verdict),
            "delta_e00": int() | float() as size,
            "delta_e00_interval": [int() | float() as low, int() | float() as high],
        }:
            return f"{capital(name)}: {verdict}, {_size(size, (low, high), verdict)}."
    return ""


def _items(value: object) -> Sequence[Any]:
    """Return a list of a kept document, and nothing where another version kept something else."""
    return value if isinstance(value, list | tuple) else ()


def standing_words(found: Standing) -> tuple[str, ...]:
    """Say which card so far is the nearest to the car and how surely, or which cannot be told apart."""
    best = found.best
    lines = [f"Of {len(found.cards)} cards so far, that of {_held(day_and_time(best.at), best)} reads nearest."]
    if not found.rivals:
        lines.append(f"The chance that it really is: {chance_words(best.chance)}.")
    else:
        rivals = [found.cards[place] for place in found.rivals]
        told = listed([f"{_held(day_and_time(card.at), card)} ({chance_words(card.chance)})" for card in rivals])
        lines.append(
            f"The chance that it really is: {chance_words(best.chance)}. It cannot be told apart from that of {told}."
        )
    if found.other_cars:
        lines.append("Checks that name another car are left out.")
    return tuple(lines)


def card_days(cards: Sequence[HeldCard]) -> list[str]:
    """Return the day of each card and its name in that photo; with the time where that would tell two alike."""
    days = [_held(f"{card.at.astimezone():%Y-%m-%d}", card) for card in cards]
    return days if len(set(days)) == len(days) else [_held(day_and_time(card.at), card) for card in cards]


def _held(when: str, card: HeldCard) -> str:
    return f"{when}, {card.name}" if card.name else when


AGAIN_WORDS = {
    Changed.NOTHING: "the same within what the two photos can tell.",
    Changed.CARD: "more than both photos explain, and it is likelier the card that changed: was it kept dark and dry?",
    Changed.CAR: "more than both photos explain, and it is likelier the car that changed: weathered, or another panel?",
    Changed.EITHER: "more than both photos explain; whether card or car changed cannot be told.",
}


def again_words(found: Again) -> str:
    """Say what became of a card, or of the car, between two checks of it."""
    days = f"{found.first_at.astimezone():%Y-%m-%d} and {found.last_at.astimezone():%Y-%m-%d}"
    return (
        f"This card against this car on {days}: {found.before:.1f}, then {found.after:.1f}. It moved by "
        f"{found.change:.1f}, {AGAIN_WORDS[found.changed]}"
    )


def near_lead(near: NearColour) -> str:
    """Say how near a colour is, and where its card lies."""
    return f"{near.delta_e00:.1f} away" + (f", its card: {near.place}" if near.place else "")


def car_words(row: CheckRow) -> str:
    """Return the car and its plate or nickname."""
    return ", ".join(part for part in (row.car, row.plate) if part)


def check_line(row: CheckRow) -> str:
    """Return a check in one line, its id last."""
    parts = [day_and_time(row.created_at), row.verdict.upper(), size_words(row), named(row.colour_name, row.code)]
    parts += [car_words(row)] if car_words(row) else []
    parts += ["corrected by a later check"] if row.corrected_by else []
    parts += ["deleted"] if row.deleted_at else []
    return "  ".join([*parts, row.id])


def deleted_line(record: DeletedRecord) -> str:
    """Return a deleted record in one line, its id last."""
    return f"{day_and_time(record.deleted_at)}  {KIND_NAMES[record.kind]}  {record.title}  {record.id}"


def counts(numbers: Mapping[str, int]) -> str:
    """Return how many records of each kind, those that are none left out."""
    told = [f"{number} {KIND_NAMES[kind]}{'s' * (number != 1)}" for kind, number in numbers.items() if number]
    return ", ".join(told) or "no records"


def unreadable_line(record: UnreadableRecord) -> str:
    """Return in one line that a record cannot be read and why."""
    return f"The {KIND_NAMES[record.kind]} {record.id} cannot be read: {record.fault}."


def export_words(summary: ExportSummary) -> tuple[str, ...]:
    """Say what an export or backup packed, and which photos it could not."""
    packed = f"{counts(summary.records)} and " if summary.records else "the whole database and "
    lines = [f"Packed {packed}{summary.photos} photo{'s' * (summary.photos != 1)}."]
    if summary.missing_photos:
        lines.append(f"{len(summary.missing_photos)} photos are missing or changed and were left out: run verify.")
    lines += [f"Left out. {unreadable_line(record)}" for record in summary.left_out]
    for link in summary.unlinked:
        kind, lost = KIND_NAMES[link.kind], link.fault.replace("_", " ")
        lines.append(f"Packed without its {lost}, which cannot be read: the {kind} {link.id}.")
    return tuple(lines)


def import_words(summary: ImportSummary) -> tuple[str, ...]:
    """Say what an import added, and what it left as it was."""
    lines = [f"Added {counts(summary.added)} and {summary.photos_added} photo{'s' * (summary.photos_added != 1)}."]
    if any(summary.already_here.values()):
        lines.append(f"Already here and equal: {counts(summary.already_here)}.")
    if any(summary.different.values()):
        lines.append(f"Here, but different, and kept as it is here: {counts(summary.different)}.")
    return tuple(lines)


def health_words(health: StoreHealth) -> tuple[str, ...]:
    """Say what a verification found."""
    checks = f"{health.checks} check{'s' * (health.checks != 1)} among {health.records} records"
    looked = f"Looked at {checks} and every byte of {health.photos} photos"
    lines = [f"{looked}: {'all whole.' if health.sound else 'not all is well.'}", *health.problems[:MOST_SENTENCES]]
    if len(health.problems) > MOST_SENTENCES:
        lines.append(f"And {len(health.problems) - MOST_SENTENCES} more; --json names them all.")
    if health.unreferenced_photos:
        lines.append(f"{health.unreferenced_photos} photo files belong to no check; they take room and do no harm.")
    lines += [f"Left by a program that was stopped: {path}." for path in health.leftovers]
    if health.leftovers:
        lines.append("These take room and do no harm; clear them with: python -m match history clear-leftovers")
    return tuple(lines)


RIGHTS_WORDS = {
    Rights.OWN: "Only you may look into it.",
    Rights.SHARED: "Others may look into it: it is shared, so its rights were left as they are.",
    Rights.NOT_OURS: "Others may look into it: it belongs to another user, who alone can close it.",
    Rights.NOT_CHANGED: "Others may look into it: its rights could not be changed here.",
    Rights.OTHER_SYSTEM: "Who may look into it is set in this system's own folder settings.",
}


def where_words(store: Store) -> tuple[str, ...]:
    """Say which history and photos are in use, who may look at them, and whether anything can be saved there."""
    lines = [f"History: {store.place}", f"Photos: {store.photos_place}", RIGHTS_WORDS[store.rights]]
    return (*lines, NOTHING_SAVED) if store.read_only else tuple(lines)


NOTHING_SAVED = "Nothing can be saved there: it may be looked at, verified and exported only."


def held_words(count: HeldCount, deed: str) -> str:
    """Return a line such as "of 14 blends at 2.0 to 2.5, 13 held", with the interval of the true share."""
    if count.interval is None:
        return f"{deed} at {count.low:.1f} to {count.high:.1f}: no decided outcome yet"
    low, high = count.interval
    unsure = f"; {count.unsure} unsure" if count.unsure else ""
    return (
        f"of {count.total} {deed} at {count.low:.1f} to {count.high:.1f}, {count.held} held "
        f"(the true share is likely {100.0 * low:.0f} % to {100.0 * high:.0f} %{unsure})"
    )
