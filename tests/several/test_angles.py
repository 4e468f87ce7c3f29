"""Metallic and pearl over several angles: the worst governs, and what the signs say of flake and toner."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest

from match import calibration as files
from match.check.verdict import Finish, Junction, Tolerances, Verdict, thresholds
from match.measure.confidence import ConfidenceCurve
from match.measure.finding import Finding, remedies_of, text_of
from match.measure.photo_code import PhotoCode
from match.photo.regions import Kind, Region
from match.several.angles import effect_verdict, largest_of
from match.several.angles_picture import WIDTH, angles_picture, angles_words
from match.several.combine import PhotoReading, combine
from match.several.photo_set import Angle, Role
from match.several.rules import load_several_rules
from match.several.travel import Cause
from tests.benchmarks.several_simulated import simulated

RULES = load_several_rules()
TOLERANCES = files.load(Tolerances, "tolerances")
LIMITS = thresholds(TOLERANCES, Junction.PANEL_GAP)
CAR = {Angle.NEAR_GLARE: (95.0, 1.0, -3.0), Angle.FACE: (60.0, 1.0, -3.0), Angle.FLOP: (32.0, 1.0, -4.0)}
STRAIGHT = dict.fromkeys(Angle, (0.1, 0.0, 0.0))


def seen(differences, sd=(0.2, 0.12, 0.12), car=CAR, findings=()):
    rng = np.random.default_rng(0)
    return {
        angle: combine(
            [PhotoReading("photo", Role.FIRST, simulated(d, car[angle], sd, seed=7, findings=findings))],
            RULES.combining,
            0.05,
            rng,
        )
        for angle, d in differences.items()
    }


def judged(differences, finish=Finish.METALLIC, **settings):
    return effect_verdict(seen(differences, **settings), finish, LIMITS, TOLERANCES, RULES.technique, RULES.angles)


def chosen(*angles, source=STRAIGHT):
    return {angle: source[angle] for angle in angles}


@pytest.mark.parametrize(
    ("finish", "angles", "missing"),
    [
        (Finish.METALLIC, [Angle.FACE], [Angle.FLOP]),
        (Finish.METALLIC, [Angle.FLOP], [Angle.FACE]),
        (Finish.METALLIC, [Angle.NEAR_GLARE, Angle.FACE], [Angle.FLOP]),
        (Finish.PEARL, [Angle.FACE], [Angle.NEAR_GLARE, Angle.FLOP]),
        (Finish.PEARL, [Angle.FACE, Angle.FLOP], [Angle.NEAR_GLARE]),
    ],
)
def test_an_effect_finish_without_a_needed_angle_is_never_go(finish, angles, missing):
    found = judged(chosen(*angles), finish)
    assert found.verdict is Verdict.RETAKE
    assert list(found.missing) == missing
    assert [finding.code for finding in found.findings] == ["angle-missing"] * len(missing)
    assert text_of(found.because).startswith("There is no photo ")


@pytest.mark.parametrize(
    ("finish", "angles"),
    [(Finish.METALLIC, [Angle.FACE, Angle.FLOP]), (Finish.PEARL, list(Angle)), (Finish.SOLID, [Angle.FACE])],
)
def test_a_match_at_every_needed_angle_is_go(finish, angles):
    found = judged(chosen(*angles), finish)
    assert found.verdict is Verdict.GO
    assert found.missing == ()


def test_a_card_off_at_the_flop_alone_is_retint():
    # The research rule: the limit applies to every angle and the worst governs (ASTM E2194's scope: three angles).
    found = judged({Angle.FACE: (0.1, 0.0, 0.0), Angle.FLOP: (-6.0, 0.0, 1.0)})
    assert found.verdict is Verdict.RETINT
    assert found.worst is Angle.FLOP
    assert "at the flop" in text_of(found.because)


def test_a_sure_retint_needs_no_more_photos():
    found = judged({Angle.FACE: (7.0, 0.0, 0.0)})
    assert found.verdict is Verdict.RETINT
    assert not found.findings


def test_neither_go_nor_blend_stands_without_the_angle_not_seen_and_retint_does():
    # the same rule as for a single photo of an effect finish (tests/check/test_check.py)
    for difference, found in ((0.1, Verdict.RETAKE), (2.2, Verdict.RETAKE), (6.0, Verdict.RETINT)):
        assert judged({Angle.FACE: (difference, 0.0, 0.0)}).verdict is found
    alone = judged({Angle.FACE: (2.2, 0.0, 0.0)})
    assert [(finding.code, finding.spoils) for finding in alone.findings] == [("angle-missing", True)]
    assert judged({Angle.FACE: (2.2, 0.0, 0.0), Angle.FLOP: (1.0, 0.0, 0.0)}).verdict is Verdict.BLEND


def test_an_angle_that_cannot_decide_leaves_the_whole_undecided():
    wide = seen({Angle.FLOP: (2.0, 0.0, 0.0)}, sd=(1.6, 0.8, 0.8))
    found = effect_verdict(
        seen({Angle.FACE: (0.1, 0.0, 0.0)}) | wide, Finish.METALLIC, LIMITS, TOLERANCES, RULES.technique, RULES.angles
    )
    assert found.verdict is Verdict.RETAKE
    assert found.worst is Angle.FLOP
    assert "neither go nor retint can be ruled out" in text_of(found.because)


def test_a_spoiled_angle_is_retaken():
    spoiled = Finding(PhotoCode.CLIPPED, True, (Region(Kind.CARD, 60, 11, 40, 40),), {"percent": 30})
    good, bad = seen({Angle.FACE: (0.1, 0, 0)}), seen({Angle.FLOP: (0.1, 0, 0)}, findings=(spoiled,))
    found = effect_verdict(good | bad, Finish.METALLIC, LIMITS, TOLERANCES, RULES.technique, RULES.angles)
    assert found.verdict is Verdict.RETAKE
    assert remedies_of(found.next_steps) == (spoiled.remedy(),)
    assert "lower the exposure" in spoiled.remedy()


def test_probabilities_are_those_of_the_worst_angle():
    found = judged({Angle.FACE: (0.9, 0.0, 0.0), Angle.FLOP: (0.8, 0.0, 0.0)})
    for result in found.angles:
        assert found.probabilities[Verdict.GO] <= result.decision.probabilities[Verdict.GO] + 1e-6
    assert sum(found.probabilities.values()) == pytest.approx(1.0)


def test_the_largest_of_two_alike_differences_squares_their_chance():
    size = np.linspace(0, 4, 9)
    curve = ConfidenceCurve(size, size / 4, size / 4)
    assert largest_of([curve, curve]).at_most(2.0) == pytest.approx(0.25)


@pytest.mark.parametrize(("face", "flop", "word"), [(1.5, -1.8, "wetter"), (-1.5, 1.8, "drier")])
def test_opposite_signs_at_face_and_flop_call_for_the_gun_before_toner(face, flop, word):
    # Common practice: wetter, closer, slower darkens the face and lightens the flop; drier the reverse.
    found = judged({Angle.FACE: (face, 0.0, 0.0), Angle.FLOP: (flop, 0.0, 0.0)})
    assert found.signature.cause is Cause.ORIENTATION
    assert word in found.signature.advice[0]
    assert "before any toner" in found.signature.sentence
    assert "hazardous" in text_of(found.next_steps[-1])


def test_the_glare_side_shows_flake_when_the_face_matches():
    found = judged({Angle.NEAR_GLARE: (3.0, 0, 0), Angle.FACE: (0.0, 0, 0), Angle.FLOP: (-2.5, 0, 0)})
    assert found.signature.cause is Cause.ORIENTATION
    assert "near the glare" in found.signature.sentence


def test_one_sign_at_a_like_size_is_toner():
    found = judged({Angle.FACE: (1.8, 0.0, 0.0), Angle.FLOP: (1.5, 0.0, 0.0)})
    assert found.signature.cause is Cause.TONER


@pytest.mark.parametrize(
    "differences",
    [
        {Angle.FACE: (0.1, 0, 0), Angle.FLOP: (-3.0, 0, 0)},
        {Angle.FACE: (0.6, 0, 0), Angle.FLOP: (4.0, 0, 0)},
        {Angle.FACE: (3.0, 0, 0)},
    ],
)
def test_signs_that_are_not_sure_name_no_cause(differences):
    assert judged(differences).signature.cause is Cause.NONE_SEEN


def test_travel_is_the_difference_of_falls():
    # Card falls from 61 to 30, car from 60 to 32: the card darkens 3 more.
    travel = judged({Angle.FACE: (1.0, 0, 0), Angle.FLOP: (-2.0, 0, 0)}).travels[0]
    assert travel.lightness == pytest.approx(3.0)
    assert travel.sentence.startswith("The card darkens 3.0 L* more than the car from face to flop")


def test_no_text_quotes_a_flop_index():
    found = judged({Angle.FACE: (1.0, 0, 0), Angle.FLOP: (-2.0, 0, 0)})
    assert not re.search(r"index", str(found.as_dict()), re.IGNORECASE)


def test_two_photos_at_one_angle_are_found_out():
    alike = CAR | {Angle.FLOP: (61.0, 1.0, -3.0)}
    found = judged(chosen(Angle.FACE, Angle.FLOP), car=alike)
    assert "angles-alike" in [finding.code for finding in found.findings]
    assert found.verdict is Verdict.RETAKE
    # a photo taken twice from in front comes out a little darker as often as a little lighter
    assert judged(chosen(Angle.FACE, Angle.FLOP), car=CAR | {Angle.FLOP: (59.0, 1.0, -3.0)}).verdict is Verdict.RETAKE
    off = {Angle.FACE: (6.0, 0.0, 0.0), Angle.FLOP: (6.0, 0.0, 0.0)}
    assert judged(off, car=alike).verdict is Verdict.RETINT
    pearl = judged(STRAIGHT, Finish.PEARL, car=alike)
    assert pearl.verdict is Verdict.GO
    assert "angles-alike" in [finding.code for finding in pearl.findings]


def test_json_and_picture_show_every_angle_and_the_missing_one():
    found = judged({Angle.FACE: (1.0, 0, 0), Angle.FLOP: (-2.0, 0, 0)}, Finish.PEARL)
    as_json = found.as_dict()
    assert list(as_json["angles"]) == ["face", "flop"]
    assert as_json["missing_angles"] == ["near-glare"]
    picture = angles_picture(found)
    root = ElementTree.fromstring(picture)
    assert root.attrib["viewBox"].split()[2] == str(WIDTH)
    texts = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"Near glare", "Face", "Flop", "photo missing"} <= set(texts)
    assert "Near glare: no photo." in angles_words(found)


def test_the_picture_needs_no_colour():
    found = judged({Angle.FACE: (1.0, 0, 0), Angle.FLOP: (-2.0, 0, 0)})
    for colour in re.findall(r"#([0-9a-f]{6}|[0-9a-f]{3})\b", angles_picture(found)):
        parts = [colour[i : i + len(colour) // 3] for i in range(0, len(colour), len(colour) // 3)]
        assert len(set(parts)) == 1  # grey


def test_large_differences_stay_inside_the_picture():
    found = judged({Angle.FACE: (25.0, 0, 0), Angle.FLOP: (-18.0, 0, 0)})
    places = [float(x) for x in re.findall(r"M([0-9.]+) [0-9.]+l9 9", angles_picture(found))]
    drawn = places[:-1]  # the last one is the key's
    assert len(drawn) == 2
    assert min(drawn) > 90
    assert max(drawn) < 260


def test_findings_of_the_photos_are_kept():
    noted = Finding(PhotoCode.ONE_GREY, False)
    by_angle = seen(chosen(Angle.FACE, Angle.FLOP))
    by_angle[Angle.FLOP] = replace(by_angle[Angle.FLOP], findings=(noted,))
    found = effect_verdict(by_angle, Finish.METALLIC, LIMITS, TOLERANCES, RULES.technique, RULES.angles)
    assert noted in found.findings
    assert found.verdict is Verdict.GO
