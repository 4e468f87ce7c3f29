"""``set``: several photos of one card and one car, named in a photo-set file, become one verdict."""

from __future__ import annotations

import argparse
import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from match.commands.check import add_mirrors, add_wanted_card
from match.commands.choices import FINISHES, JUNCTIONS
from match.commands.history_action import add_place
from match.errors import EvidenceError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from match.camera.own import PhotoCalibration
    from match.check.calibration_files import Calibration
    from match.check.cards import CardsAnswer
    from match.check.mirrored import Mirrored
    from match.check.result import CheckResult
    from match.check.saved import CheckedPhoto
    from match.check.settings import CheckSettings
    from match.photo.load import Photo
    from match.several.judge import SetAnswer
    from match.several.photo_set import Angle, MarkedPhoto, MeasuredPhoto

    Loaded = tuple[MarkedPhoto, Photo, PhotoCalibration]

Measured = TypeVar("Measured")


def add_to(subparsers: Any) -> None:
    """Add the command's arguments."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "set",
        help="check several photos of one card together: angles, repeats, lamps",
        description="Check several photos of one card and one car together: angles of an effect finish, the card laid "
        "again or moved to the other side, a second lamp. The worst angle governs.",
        epilog="The photo-set file is TOML or JSON: a list called photos, each with path, grey, card, vehicle and, "
        "where they differ, angle (near-glare, face, flop), role (first, repeat, swap) and light (any word). Of "
        "several photos of an effect finish each must say its angle; it is held against the car's brightness, and "
        "against the capture sheet where that is in the photo.",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the photo-set file; photo paths count from its folder")
    parser.add_argument("--finish", choices=FINISHES, default="metallic", help="the kind of paint (default: metallic)")
    parser.add_argument(
        "--junction", choices=JUNCTIONS, default="panel-gap", help="what lies between new paint and old"
    )
    add_wanted_card(parser)
    add_mirrors(parser)
    parser.add_argument(
        "--mend-angles",
        action="store_true",
        help="where two photos look called by each other's angle, judge them the other way round, and say so",
    )
    parser.add_argument(
        "--marks-are-right",
        action="store_true",
        help="you looked, and say yes to what is asked of these photos with these marks; see check --help",
    )
    add_place(parser)
    parser.add_argument("--json", action="store_true", help="print the whole result as JSON")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Check the set and print."""
    from dataclasses import replace

    from match.check.saved import document
    from match.commands.check_lines import plain
    from match.several.angle_order import exchanged, exchanged_words

    result, answer, photos, cards = _judged(arguments)
    if arguments.mend_angles and (called := exchanged(result.warnings)):
        result, answer, photos, cards = _judged(arguments, called)
        result = replace(result, notes=(*result.notes, exchanged_words(called)))
    if arguments.json:
        print(json.dumps(document(result, photos[answer.governing], photos, answer.as_dict(), cards)))
        return 0
    more = (f"  {sentence}" for sentence in (*answer.flake_sentences, *answer.unpaired))
    print("\n".join((plain(arguments.file, result, several=False, cards=cards), *more)))
    return 0


def _judged(
    arguments: argparse.Namespace, called: Mapping[Angle, Angle] | None = None
) -> tuple[CheckResult, SetAnswer, tuple[CheckedPhoto, ...], CardsAnswer | None]:
    """Judge the listed photos, some of them ``called`` by other angles than the list says."""
    from dataclasses import replace
    from itertools import chain

    from match.check.calibration_files import load_calibration
    from match.check.cards import load_comparing_rules
    from match.check.mirrored import Mirrored
    from match.check.settings import CheckSettings
    from match.check.verdict import Finish, Junction
    from match.commands.check import answers_told
    from match.photo import load
    from match.photo.regions import card_named
    from match.several.angle_order import called_anew
    from match.several.cards import cards_of_set, judge_cards_of_set
    from match.several.flake import flake_in
    from match.several.judge import judge_set
    from match.several.photo_set import answered, is_let_down
    from match.several.photo_set_file import read_photo_set
    from match.several.rules import load_several_rules
    from match.several.texture import TextureComparison

    calibration, rules = load_calibration(), load_several_rules()
    settings = CheckSettings(finish=Finish(arguments.finish), junction=Junction(arguments.junction))
    effect = settings.finish is not Finish.SOLID
    listed = read_photo_set(arguments.file, calibration.greys.default_reflectance, each_angle=effect)
    listed = called_anew(listed, called or {})
    if is_let_down(listed):
        raise EvidenceError(f"{arguments.file.name} lists a let-down card: use `coats let-down` for it")
    said = Mirrored(arguments.mirrors) if arguments.mirrors else None
    names = cards_of_set(listed)
    if arguments.card_name and arguments.card_name not in names:
        card_named(listed[0].regions, arguments.card_name)

    def flake(photo: MeasuredPhoto) -> TextureComparison | str:
        return flake_in(load.load(arguments.file.parent / photo.name), photo.regions, rules.texture)

    def measured() -> Mapping[str, Sequence[MeasuredPhoto]]:
        loaded = loaded_photos(arguments.file, listed, settings, calibration, arguments.data, said)
        if len(names) > 1:
            return _measured_cards(loaded, names, settings)
        return {"": measured_photos(loaded, settings)}

    by_card, told = measured(), list[str]()
    while arguments.marks_are_right:
        asked, listed = listed, answered(listed, chain.from_iterable(by_card.values()))
        if listed == asked:
            break
        for before, after in zip(asked, listed, strict=True):
            told += answers_told(before.regions, after.regions, f" in {after.name}")
        by_card = measured()
    if len(names) > 1:
        comparing = load_comparing_rules()
        result, answer, cards = judge_cards_of_set(by_card, settings, rules, comparing, flake, arguments.card_name)
    else:
        (result, answer), cards = judge_set(by_card[""], settings, rules, flake), None
    result = replace(result, notes=(*told, *result.notes))
    return result, answer, _checked(arguments.file.parent, listed), cards


def _checked(folder: Path, photos: Sequence[MarkedPhoto]) -> tuple[CheckedPhoto, ...]:
    from match.check.saved import CheckedPhoto

    files = [folder / photo.name for photo in photos]
    return tuple(
        CheckedPhoto(file.name, hashlib.sha256(file.read_bytes()).hexdigest(), photo.regions)
        for file, photo in zip(files, photos, strict=True)
    )


def measured_photos(loaded: Iterator[Loaded], settings: CheckSettings) -> tuple[MeasuredPhoto, ...]:
    """Measure the photos that a photo-set file lists, each by its own camera's record."""
    from functools import partial

    from match.check.measuring import measure_photo

    return tuple(
        _named(marked, partial(used.measured, partial(measure_photo, photo), marked, settings))
        for marked, photo, used in loaded
    )


def _measured_cards(
    loaded: Iterator[Loaded], names: Sequence[str], settings: CheckSettings
) -> dict[str, list[MeasuredPhoto]]:
    """Return the photos of each card by its name, the cards of each photo measured together."""
    from functools import partial

    from match.check.measuring import measure_photo_cards

    by_card: dict[str, list[MeasuredPhoto]] = {name: [] for name in names}
    for marked, photo, used in loaded:
        measure = partial(measure_photo_cards, photo)
        for name, each in _named(marked, partial(used.measured_cards, measure, marked, settings)).items():
            by_card[name].append(each)
    return by_card


def loaded_photos(
    file: Path,
    listed: Sequence[MarkedPhoto],
    settings: CheckSettings,
    calibration: Calibration,
    place: str | None,
    mirrored: Mirrored | None = None,
) -> Iterator[Loaded]:
    """Return each photo with what it is measured by, one in memory at a time; of effect finishes with its tilt."""
    from dataclasses import replace

    from match.camera.own import calibration_for
    from match.check.verdict import Finish
    from match.photo.found_marks import sheet_tilt
    from match.photo.load import load
    from match.several.photo_set import Tilt

    for named in listed:
        photo, marked = load(file.parent / named.name), named
        if settings.finish is not Finish.SOLID:
            seen = sheet_tilt(photo, calibration.greys.default_reflectance)
            marked = replace(named, tilt=Tilt(*seen) if seen else None)
        yield marked, photo, calibration_for(photo, calibration, place, mirrored)


def _named(marked: MarkedPhoto, measure: Callable[[], Measured]) -> Measured:
    """Return what is measured, with the photo's name in front of what is wrong with its marks."""
    from match.errors import RegionError

    try:
        return measure()
    except RegionError as error:
        raise RegionError(f"{marked.name}: {error}") from None
