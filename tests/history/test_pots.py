"""A pot is kept whole: it survives archive, backup, deletion and a second program, and is gone on with as it was."""

from __future__ import annotations

import dataclasses
import json
import zipfile
from pathlib import Path

import pytest

from match.demo.pot import FORMULA, first_card, next_card
from match.errors import StoreError
from match.history.from_pot import kept_pot
from match.history.records import NewCard, NewColour, NewPot, PotRecord
from match.history.store import Store
from match.tint.shelf_file import load_shelf
from match.tint.story import Mix, Story, begin, story_from
from match.tint.what_next import load_tint_calibration
from tests.history.test_support import full_check, open_store

SHELF, LIMITS = load_shelf(), load_tint_calibration().limits


def story(steps: int = 1) -> Story:
    """An invented pot of known formula with so many additions of black, each with its card."""
    found = begin(first_card(SHELF), 100.0, Mix(FORMULA))
    for _ in range(steps):
        found = found.added({"black": 0.2})
        found = found.sprayed(next_card(found, SHELF))
    return found


def keep(store: Store, told: Story, before: PotRecord | None = None) -> PotRecord:
    return store.keep_pot(kept_pot(told, NewColour(name="Invented blue"), SHELF, LIMITS, before))


def test_a_kept_pot_is_gone_on_with_as_it_was(store: Store) -> None:
    told = story(2)
    pot = keep(store, told)
    kept = story_from(store.get_pot(pot.id).story, "kept")
    assert kept == story_from(json.loads(json.dumps(told.as_dict())), "log")
    assert list(kept.mix.formula or {}) == list(FORMULA)  # in the order of pouring, which JSON's objects lose
    found = store.timeline(pot.colour)
    assert found.pots == (pot,)
    assert pot.cards == tuple(entry.card.id for entry in found.entries if entry.card)
    assert [step.card_after for step in found.tint_steps] == list(pot.cards[1:])
    assert store.verify().sound


def test_what_came_since_is_added_and_what_was_kept_is_not_kept_twice(store: Store) -> None:
    pot = keep(store, story(1))
    later = keep(store, story(2), pot)
    assert (later.id, later.version, len(later.cards)) == (pot.id, 2, 3)
    assert later.cards[:2] == pot.cards
    found = store.timeline(pot.colour)
    assert (len(found.entries), len(found.tint_steps)) == (3, 2)
    (earlier,) = store.revisions(pot.id)
    assert earlier.before["story"] == json.loads(json.dumps(story(1).as_record()))
    with pytest.raises(StoreError, match="changed meanwhile"):
        keep(store, story(2), pot)


def test_a_pot_whose_kept_steps_were_undone_is_refused_and_stays(store: Store) -> None:
    pot = keep(store, story(2))
    other = story(0).added({"black": 0.9})
    with pytest.raises(StoreError, match="undone since"):
        keep(store, other.sprayed(next_card(other, SHELF)), pot)
    assert store.get_pot(pot.id) == pot
    assert len(store.timeline(pot.colour).entries) == 3


def test_how_a_pot_ended_is_kept_and_its_past_with_it(store: Store) -> None:
    pot = keep(store, story())
    ended = store.edit(dataclasses.replace(pot, ended="held", notes="rear door"))
    assert (ended.ended, store.revisions(pot.id)[0].before["ended"]) == ("held", "open")
    with pytest.raises(StoreError, match="expected one of open, held"):
        store.edit(dataclasses.replace(ended, ended="perhaps"))


def test_a_pot_goes_with_its_colour_and_comes_back(store: Store) -> None:
    pot = keep(store, story())
    store.delete(pot.id)
    assert store.timeline(pot.colour).pots == ()
    assert [(gone.kind, gone.id) for gone in store.deleted()] == [("pot", pot.id)]
    store.undelete(pot.id)
    store.delete(pot.colour)
    assert store.get_pot(pot.id).deleted_at is not None
    store.undelete(pot.colour)
    assert store.timeline(pot.colour).pots == (store.get_pot(pot.id),)
    assert store.verify().sound


@pytest.mark.parametrize("broken", [{}, {"format": "tint-log 1"}, {**story(0).as_dict(), "pot_g": -1.0}])
def test_a_story_that_cannot_be_gone_on_with_is_refused(store: Store, broken: dict[str, object]) -> None:
    colour = store.add_colour(NewColour(name="Invented blue"))
    with pytest.raises(StoreError, match="tint log"):
        store.add_pot(NewPot(colour=colour.id, story=broken))
    assert store.timeline(colour.id).pots == ()


def test_a_changed_story_betrays_itself(tmp_path: Path) -> None:
    import sqlite3

    with open_store(tmp_path / "data") as store:
        pot = keep(store, story())
    with sqlite3.connect(tmp_path / "data" / "history.sqlite") as raw:
        raw.execute("UPDATE pot SET story = replace(story, '\"pot_g\":100.0', '\"pot_g\":150.0')")
    raw.close()
    with Store.open(tmp_path / "data") as store:
        assert store.verify().problems == (
            f"the pot {pot.id} is no longer what was saved: restore the latest backup into a new folder",
        )


def test_a_pot_and_a_place_travel_in_export_and_backup(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        pot = keep(store, story(2))
        card = store.add_card(NewCard(colour=pot.colour, place="drawer 3, 17"))
        store.export_archive(tmp_path / "all.zip")
        store.back_up(tmp_path / "backup.zip")
    for name in ("all", "backup"):
        with Store.restore(tmp_path / f"{name}.zip", tmp_path / name) as restored:
            assert restored.get_pot(pot.id) == pot
            assert restored.get_card(card.id).place == "drawer 3, 17"
            assert restored.verify().sound


def test_an_export_of_the_first_format_is_still_restored(tmp_path: Path) -> None:
    """Before there were pots and panels an archive had no table of them, and its cards no place."""
    with open_store(tmp_path / "data") as store:
        check = store.save_check(full_check())
        store.export_archive(tmp_path / "new.zip")
    with zipfile.ZipFile(tmp_path / "new.zip") as new, zipfile.ZipFile(tmp_path / "old.zip", "w") as old:
        manifest = json.loads(new.read("manifest.json")) | {"format_version": 1}
        for later in ("pot", "panel"):
            manifest["tables"].pop(later)
        (card,) = (json.loads(line) for line in new.read("tables/card.jsonl").splitlines())
        assert "place" not in card
        for name in set(new.namelist()) - {"tables/pot.jsonl", "tables/panel.jsonl", "manifest.json"}:
            old.writestr(name, new.read(name))
        old.writestr("manifest.json", json.dumps(manifest))
    with Store.restore(tmp_path / "old.zip", tmp_path / "old") as restored:
        assert restored.get_card(str(check.card)).place == ""
        assert restored.verify().sound


def test_a_card_sealed_before_it_had_a_place_stays_sealed(store: Store) -> None:
    check = store.save_check(full_check())
    card = store.get_card(str(check.card))
    placed = store.edit(dataclasses.replace(card, place="drawer 1, 4"))
    assert store.verify().sound
    assert "place" not in store.revisions(card.id)[0].before
    assert store.edit(dataclasses.replace(placed, place="")).place == ""
    assert store.verify().sound
