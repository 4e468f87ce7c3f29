"""Short lists as HTML: what is wrong with its remedy, and steps to take. Every text is escaped."""

from __future__ import annotations

from collections.abc import Iterable

from match.ui.kit.style import text
from match.words import capital


def sentence(words: str) -> str:
    """Return ``words`` with a capital first letter and a full stop."""
    words = words.strip()
    return capital(words) + ("" if words.endswith((".", "!", "?")) else ".")


def notices(entries: Iterable[tuple[str, str]]) -> str:
    """Return pairs of (what is wrong, what to change) as a list; one remedy for several faults is said once."""
    faults: dict[str, list[str]] = {}
    for what, remedy in entries:
        faults.setdefault(remedy, []).append(f'<span class="what">{text(sentence(what))}</span>')
    items = "".join(f"<li>{''.join(what)}{text(sentence(remedy))}</li>" for remedy, what in faults.items())
    return f'<ul class="sm-notices">{items}</ul>'


def steps(entries: Iterable[str]) -> str:
    """Return things to do, in their order."""
    return f'<ol class="sm-steps">{"".join(f"<li>{text(sentence(entry))}</li>" for entry in entries)}</ol>'


def table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    """Return a table with a header row; the first column names the row."""
    top = "".join(f'<th scope="col">{text(cell)}</th>' for cell in head)
    body = "".join(
        f'<tr><th scope="row">{text(first)}</th>{"".join(f"<td>{text(cell)}</td>" for cell in rest)}</tr>'
        for first, *rest in rows
    )
    return f'<table class="sm-table"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>'
