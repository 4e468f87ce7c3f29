"""The verdict at the head of a page: its word, its silhouette and the one sentence that says why."""

from match.check.verdict import Verdict
from match.check.words import DEEDS
from match.ui.kit.icons import verdict_icon
from match.ui.kit.notices import sentence
from match.ui.kit.style import text

ANSWER = "answer"
"""The verdict's name within its page, for links to it."""


def banner(verdict: Verdict, reason: str, deed: str = "", sure: str = "") -> str:
    """Return the verdict with its silhouette, how sure it is, and why, as HTML; an own ``deed`` if given."""
    word, usual = DEEDS[verdict]
    beside = f'<div class="sure">{text(sure)}</div>' if sure else ""
    return (
        f'<div class="sm-verdict" id="{ANSWER}" data-verdict="{verdict.value}" role="status">'
        f'<img src="{verdict_icon(verdict)}" alt=""><div><div class="word">{word}</div>'
        f"{beside}"
        f'<div class="deed">{deed or usual}</div></div></div><p class="sm-reason">{text(sentence(reason))}</p>'
    )


def in_view(verdict: Verdict, words: str) -> str:
    """Return the line that stays in view on a phone, as HTML: the verdict with ``words``; a tap shows it in full."""
    return f'<a class="sm-strip" href="#{ANSWER}"><b>{DEEDS[verdict][0]}</b> · {text(words)}</a>'
