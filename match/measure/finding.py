"""What is wrong, as a code with its numbers and regions; its words are made last, with the names that the reader knows.

Each step has its own codes, a :class:`Code` whose members hold their words as templates. Only :meth:`Finding.text`,
:meth:`Finding.remedy` and :func:`told` make sentences, and nothing looks into a sentence that was made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any, Protocol, Self

from match.photo.regions import Region
from match.words import capital, listed


class Names(Protocol):
    """What a region is called where the words are read: by its pixels, by its box on the photo, by a name of its own.

    ``photo`` is the photo of a set that it lies in, empty where there is only one.
    """

    def __call__(self, region: Region, photo: str = "") -> str:
        """Return the region's name, in lower case and with its article."""


def by_pixels(region: Region, photo: str = "") -> str:
    """Return the region's name as the command line points at it."""
    return region.name


@dataclass(frozen=True)
class Words:
    """Templates of one finding: what is wrong, beginning in lower case, and what to do about it.

    ``{name}`` stands for a value of the finding or of ``more``, ``{region}`` for its region's name and ``{Region}`` for
    the same where the sentence may begin with it, ``{other}`` for the name of its second region.
    """

    text: str
    remedy: str
    more: Mapping[str, str] = field(default_factory=dict)


class Code(StrEnum):
    """Base of every step's codes; a member is written ``NAME = "its-code", "what is wrong", "what to do about it"``.

    Both are templates as :class:`Words` has them. In their place stands a function from the finding to its words where
    they depend on its numbers.
    """

    words: Callable[[Finding], Words]

    def __new__(cls, code: str, words: str | Callable[[Finding], Words], remedy: str = "") -> Self:
        """Make a member that equals its code and carries its words."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.words = words if callable(words) else _always(Words(words, remedy))
        return member


def _always(words: Words) -> Callable[[Finding], Words]:
    return lambda _found: words


@dataclass(frozen=True)
class Finding:
    """One weakness of the photo or the set; ``spoils`` means that no verdict may rest on it.

    Attributes
    ----------
    code, spoils : what is wrong, and whether it rules a verdict out
    regions : the marked regions it is about, as many as its words name
    values : its numbers and words, rounded as they are said
    photo : the photo whose regions they are, in a set
    of : what it is said of, put in front: a photo's name, a step's
    why : the finding behind this one
    """

    code: Code
    spoils: bool
    regions: tuple[Region, ...] = ()
    values: Mapping[str, float | str] = field(default_factory=dict, hash=False)
    photo: str = ""
    of: tuple[str, ...] = ()
    why: Finding | None = None

    def text(self, names: Names = by_pixels) -> str:
        """Say what is wrong."""
        return _behind(": ".join(self.of), self, names)

    def remedy(self, names: Names = by_pixels) -> str:
        """Say what to do about it."""
        return self._words.remedy.format_map(self._filling(names, first=True))

    def clause(self, names: Names, first: bool) -> str:
        """Say what is wrong, as the ``first`` words of a sentence or further on in one."""
        template = self._words.text
        return (capital(template) if first else template).format_map(self._filling(names, first))

    @property
    def _words(self) -> Words:
        return self.code.words(self)

    def _filling(self, names: Names, first: bool) -> dict[str, Any]:
        filling: dict[str, Any] = {**self.values, **self._words.more}
        if self.regions:
            name = names(self.regions[0], self.photo)
            filling |= {"region": name, "Region": capital(name) if first else name}
        if len(self.regions) > 1:
            filling["other"] = names(self.regions[1], self.photo)
        if self.why:
            filling |= {"why": self.why.clause(names, first=False), "why_remedy": self.why.remedy(names)}
        return filling


@dataclass(frozen=True)
class Told:
    """A finding in words, ready to show; ``is_reason`` means that its text is the verdict's reason already."""

    code: str
    text: str
    remedy: str
    spoils: bool
    is_reason: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Return the words for JSON."""
        return {"code": self.code, "text": self.text, "remedy": self.remedy, "spoils": self.spoils}


def told(
    findings: Sequence[Finding], names: Names = by_pixels, photos: int = 1, reason: Line | None = None
) -> tuple[Told, ...]:
    """Return findings in words; what several photos have in common is said once, by name unless true of all.

    ``photos`` is how many photos there are, ``reason`` what is told of the verdict.
    """
    groups: dict[tuple[Any, ...], list[Finding]] = {}
    for found in findings:
        where = tuple(names(region, found.photo) for region in found.regions)
        groups.setdefault((found.code, tuple(sorted(found.values.items())), where, found.why), []).append(found)
    return tuple(
        replace(_together(members, names, photos), is_reason=members == [reason]) for members in groups.values()
    )


def _together(members: Sequence[Finding], names: Names, photos: int) -> Told:
    first = members[0]
    spoils = any(found.spoils for found in members)
    if len(members) == 1:
        return Told(first.code.value, first.text(names), first.remedy(names), spoils)
    who = sorted(": ".join(found.of) for found in members if found.of)
    of_all = len(members) == photos or len(who) < len(members)
    return Told(first.code.value, _behind("" if of_all else listed(who), first, names), first.remedy(names), spoils)


def _behind(who: str, found: Finding, names: Names) -> str:
    return f"{who}: {found.clause(names, first=False)}" if who else found.clause(names, first=True)


def findings_for_json(findings: Sequence[Finding], names: Names = by_pixels) -> list[dict[str, Any]]:
    """Return findings as dictionaries, one by one."""
    return [Told(f.code.value, f.text(names), f.remedy(names), f.spoils).as_dict() for f in findings]


Line = str | Finding
"""A sentence that names no region; or a finding, in whose place the edge puts its words."""


def text_of(line: Line, names: Names = by_pixels) -> str:
    """Return the sentence, or what the finding says is wrong."""
    return line.text(names) if isinstance(line, Finding) else line


def remedies_of(lines: Sequence[Line], names: Names = by_pixels) -> tuple[str, ...]:
    """Return the sentences, and what the findings say to do, each once."""
    return tuple(dict.fromkeys(line.remedy(names) if isinstance(line, Finding) else line for line in lines))
