"""Whatever is done in whatever order, the history agrees with a plain list of what was done."""

from __future__ import annotations

import dataclasses
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, initialize, invariant, rule

from match.history.records import NewCheck, NewColour, NewJob
from tests.history.test_support import open_store, result

words = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\x00"), max_size=12)
names = words.filter(lambda name: bool(name.strip()))


@dataclasses.dataclass
class Kept:
    """What the model remembers of a check."""

    colour: str | None
    job: str | None
    verdict: str
    photo: bytes
    deleted: bool = False


class Story(RuleBasedStateMachine):
    """Does things to a store and to a plain dictionary."""

    colours = Bundle("colours")
    jobs = Bundle("jobs")
    checks = Bundle("checks")

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.home = Path(self.folder.name)
        self.store = open_store(self.home / "data")
        self.gone: set[str] = set()
        self.kept: dict[str, Kept] = {}
        self.names: dict[str, list[str]] = {}
        self.archives = 0

    def teardown(self) -> None:
        self.nothing_is_lost()
        self.store.close()
        self.folder.cleanup()

    @rule(target=colours, name=names)
    def add_colour(self, name: str) -> str:
        colour = self.store.add_colour(NewColour(name=name))
        self.names[colour.id] = [name]
        return colour.id

    @rule(target=jobs, car=names)
    def add_job(self, car: str) -> str:
        return self.store.add_job(NewJob(car=car)).id

    @rule(
        target=checks,
        colour=st.none() | colours,
        job=st.none() | jobs,
        verdict=st.sampled_from(["go", "blend"]),
        photo=st.binary(min_size=1, max_size=9),
    )
    def save_check(self, colour: str | None, job: str | None, verdict: str, photo: bytes) -> str:
        colour = None if colour in self.gone else colour
        job = None if job in self.gone else job
        given = NewCheck(result=result(verdict=verdict), colour=colour, job=job)
        saved = self.store.save_check(given, [(photo, "p.jpg")])
        self.kept[saved.id] = Kept(colour, job, verdict, photo)
        return saved.id

    @rule(colour=colours, name=names)
    def rename(self, colour: str, name: str) -> None:
        if colour not in self.gone:
            self.store.edit(dataclasses.replace(self.store.get_colour(colour), name=name))
            if name != self.names[colour][-1]:
                self.names[colour].append(name)

    @rule(record=colours | jobs | checks)
    def delete_and_bring_back(self, record: str) -> None:
        if record in self.gone or (record in self.kept and not self.visible(record)):
            return
        before = self.store.find_checks(per_page=500)
        self.store.delete(record)
        self.store.undelete(record)
        assert [row.id for row in self.store.find_checks(per_page=500).items] == [row.id for row in before.items]

    @rule(record=consumes(colours) | consumes(jobs))
    def delete(self, record: str) -> None:
        if record not in self.gone:
            self.store.delete(record)
            self.gone.add(record)

    @rule()
    def take_away_and_bring_back(self) -> None:
        self.archives += 1
        archive = self.home / f"{self.archives}.zip"
        self.store.export_archive(archive)
        assert sum(self.store.import_archive(archive).added.values()) == 0
        self.nothing_is_lost()
        self.store.close()
        self.store = open_store(self.home / f"data{self.archives}")
        self.store.import_archive(archive)

    def visible(self, check: str) -> bool:
        return self.kept[check].colour not in self.gone and self.kept[check].job not in self.gone

    @invariant()
    def the_lists_agree(self) -> None:
        if not hasattr(self, "store"):
            return
        listed = self.store.find_checks(per_page=500)
        assert {row.id for row in listed.items} == {check for check in self.kept if self.visible(check)}
        for row in listed.items:
            kept = self.kept[row.id]
            assert (row.colour, row.job, row.verdict) == (kept.colour, kept.job, kept.verdict)
            assert row.colour_name == (self.names[kept.colour][-1] if kept.colour else "")
        assert {row.id for row in self.store.find_checks(verdict="go", per_page=500).items} == {
            check for check, kept in self.kept.items() if self.visible(check) and kept.verdict == "go"
        }

    def nothing_is_lost(self) -> None:
        assert self.store.verify().sound
        for check, kept in self.kept.items():
            (photo,) = self.store.get_check(check).photos
            assert self.store.photo_bytes(photo.sha256) == kept.photo
        for colour, history in self.names.items():
            edits = [each.before["name"] for each in self.store.revisions(colour) if each.change == "edit"]
            assert [*edits, self.store.get_colour(colour).name] == history


TestStory = pytest.mark.long(Story.TestCase)
TestStory.settings = settings(
    max_examples=8,
    stateful_step_count=20,
    phases=[Phase.explicit, Phase.generate],  # shrinking would take longer than the whole test
    suppress_health_check=list(HealthCheck),
)
