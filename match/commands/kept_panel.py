"""``blend --panel-of`` and ``--keep-panel``: a described panel out of the history, and into it."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from match.commands.history_action import add_place, opened
from match.errors import PlanError, StoreError

if TYPE_CHECKING:
    from match.blend.panel import Panel
    from match.history.records import PanelRecord

DESCRIBING = ("panel", "panel_size", "at", "repair", "side")


def add_kept_panel(parser: argparse.ArgumentParser) -> None:
    """Add the arguments that take a panel from the history or keep one there."""
    group = parser.add_argument_group("the history", "Keep the panel with the car's colour, and plan on it again.")
    group.add_argument(
        "--panel-of",
        metavar="ID",
        help="a kept panel with its repairs and sides; `history show` of its colour prints the id",
    )
    group.add_argument("--keep-panel", metavar="NAME", help="keep the panel of this plan under a name of your own")
    group.add_argument("--colour", metavar="NAME/CODE", help="the colour it is kept with; a new one is added")
    group.add_argument("--car", help="the car it is kept with; a new job is added for a car not met before")
    add_place(group)


def panel_of(arguments: argparse.Namespace) -> Panel | None:
    """Return the kept panel that was asked for, None where none was.

    Raises
    ------
    PlanError : where the panel is described besides
    StoreError : where there is no such panel, or it is deleted
    """
    from match.blend.panel_record import panel_from

    if not arguments.panel_of:
        return None
    for name in DESCRIBING:
        if getattr(arguments, name):
            raise PlanError(f"--panel-of says the whole panel: leave out --{name.replace('_', '-')}")
    with opened(arguments) as store:
        kept = store.get_panel(arguments.panel_of)
    if kept.deleted_at is not None:
        raise StoreError(f"the panel {kept.id} is deleted: bring it back first")
    return panel_from(kept.described)


def require_panel(arguments: argparse.Namespace, panel: Panel | None) -> None:
    """Refuse to keep a panel that is not described, and words that would be lost because none is kept."""
    if arguments.keep_panel and panel is None:
        raise PlanError("no panel is described that could be kept: describe one with --panel")
    if arguments.keep_panel and not arguments.colour:
        raise StoreError("a panel is kept with the car's colour: add --colour NAME/CODE")
    for name in ("colour", "car"):
        if getattr(arguments, name) and not arguments.keep_panel:
            raise StoreError(f"--{name} says what to keep the panel with, but none is kept: add --keep-panel NAME")


def keep_panel(arguments: argparse.Namespace, panel: Panel) -> None:
    """Keep the panel, with a new colour or car where they are not kept yet, all or nothing; say where on stderr."""
    from match.blend.panel_record import panel_as_record
    from match.history.from_check import known_or_new_colour, known_or_new_job
    from match.history.records import NewPanel

    with opened(arguments) as store:
        colour = known_or_new_colour(store, arguments.colour)
        job = known_or_new_job(store, arguments.car) if arguments.car else None
        new = NewPanel(colour=colour, job=job, name=arguments.keep_panel, described=panel_as_record(panel))
        kept = store.add_panel(new)
        print(f"kept {kept.name} as {kept.id} in {store.place}", file=sys.stderr)


def panel_lines(kept: PanelRecord) -> list[str]:
    """Return what is kept of a panel, in sentences."""
    from match.blend.panel_record import panel_from
    from match.blend.sides import Length
    from match.blend.words import panel_line

    notes = [f"  Note: {kept.notes}"] if kept.notes else []
    return [f"  {kept.name}: {panel_line(panel_from(kept.described), Length.MM)}.", *notes]
