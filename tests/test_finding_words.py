"""Every code of every step has words and a remedy that can be said with what its findings carry."""

import importlib
import pkgutil

import pytest

import match
from match.measure.finding import Code, Finding
from match.measure.photo_code import PhotoCode
from match.photo.regions import Kind, Region

CARD = Region(Kind.CARD, 60, 11, 40, 40)
CAR = Region(Kind.VEHICLE, 160, 11, 40, 40)
VALUES = {
    "percent": 12,
    "times": 2.5,
    "difference": 31,
    "width": 12,
    "height": 14,
    "low": 1.0,
    "high": 6.0,
    "source": "tone curve",
    "finish": "pearl",
    "photo": "Photo 2",
    "others": 3,
    "with_it": 1.5,
    "without": 0.5,
    "count": 2,
    "size": 1.2,
    "angle": "flop",
    "blurred": "card",
    "first": "the first lamp",
    "second": "the second lamp",
    "coats": 3,
    "edge": 4.0,
    "end": "most",
    "more": "more",
    "likely": 36,
    "then_low": 0.5,
    "then_high": 2.5,
    "first_angle": "face",
    "second_angle": "flop",
    "tilt": 12,
}
WHY = Finding(PhotoCode.CLIPPED, True, (CARD,), {"percent": 30})

for module in pkgutil.walk_packages(match.__path__, "match."):
    if not module.name.startswith(("match.ui", "match.commands", "match.history", "match.__main__")):
        importlib.import_module(module.name)


def codes():
    return [code for each in Code.__subclasses__() if each.__module__.startswith("match.") for code in each]


@pytest.mark.parametrize("code", codes(), ids=lambda code: f"{type(code).__name__}-{code}")
@pytest.mark.parametrize("spoils", [True, False])
def test_every_code_has_words_and_a_remedy(code, spoils):
    found = Finding(code, spoils, (CARD, CAR), VALUES, why=WHY)
    for said in (found.text(), found.remedy()):
        assert said[0].isupper()
        assert said.endswith(".")
        assert "{" not in said
    behind = Finding(code, spoils, (CARD, CAR), VALUES, of=("2 mid-coats",), why=WHY).text()
    assert behind[:13] == "2 mid-coats: "
    assert behind[13:].lower() == found.text().lower()


def test_no_two_codes_of_one_step_share_a_name():
    assert len(codes()) > 30
    for each in {type(code) for code in codes()}:
        assert len({code.value for code in each}) == len(each)
