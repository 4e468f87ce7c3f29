"""Short lists as HTML: what is wrong with its remedy, and steps to take. Every text is escaped."""

from collections.abc import Iterable

from match.errors import MatchError
from match.ui.kit.style import text
from match.words import capital

Told = str | MatchError
"""Words, or an error whose sentence is told."""


def sentence(told: Told) -> str:
    """Return what is told with a capital first letter, but for the name of a file, and a full stop."""
    words = str(told).strip()
    as_written = isinstance(told, MatchError) and told.begins_with
    return (words if as_written else capital(words)) + ("" if words.endswith((".", "!", "?")) else ".")


def notices(entries: Iterable[tuple[str, Told]]) -> str:
    """Return pairs of (what is wrong, what to change) as a list; one remedy for several faults is said once.

    What is wrong may be empty where it is told already.
    """
    faults: dict[str, list[str]] = {}
    for what, remedy in entries:
        told = f'<span class="what">{text(sentence(what))}</span>' if what else ""
        faults.setdefault(sentence(remedy), []).append(told)
    items = "".join(f"<li>{''.join(what)}{text(remedy)}</li>" for remedy, what in faults.items())
    return f'<ul class="sm-notices">{items}</ul>'


def folded(title: str, html: str) -> str:
    """Return what is read once, folded under its title."""
    return f'<details class="sm-fold"><summary>{text(title)}</summary>{html}</details>'


def bullets(css: str, entries: Iterable[object]) -> str:
    """Return lines of no order as a list of this class."""
    return f'<ul class="{css}">{"".join(f"<li>{text(entry)}</li>" for entry in entries)}</ul>'


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
