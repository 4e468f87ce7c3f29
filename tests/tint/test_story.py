"""One pot's story in its file: what is written is read, and what no pot could have gone through is refused."""

import copy
import json

import numpy as np
import pytest

from match.errors import TintError
from match.tint.card_from_check import read_check
from match.tint.story import FORMAT, Mix, begin, story_from
from match.tint.story_words import story_lines
from tests.tint.checks import MIX, after, check


def told():
    """A pot with two additions, a card after the first that does not count, none yet after the second."""
    first = read_check(check(MIX), "first.json")
    story = begin(first, 120.0, Mix(MIX, 0.8, ("black", "white")))
    story = story.added({"black": 0.5}, untinted_g=3.0, paint_g=118.0).sprayed(read_check(check(after(0.5)), "second"))
    return story.counted(0, False).added({"black": 0.25, "white": 1.5})


def written(story):
    return json.loads(json.dumps(story.as_dict()))


def test_a_story_comes_back_as_it_was_written():
    story = told()
    read = story_from(written(story), "pot.json")
    assert written(read) == written(story)
    np.testing.assert_allclose(read.start.covariance, 0.25**2 * np.eye(3), atol=1e-12)
    assert (read.waiting, read.last_card.name, read.mix.allowed) == (True, "second", ("black", "white"))


def _other_format(saved):
    saved["format"] = FORMAT + "0"


def _no_card_between(saved):
    saved["steps"][0]["card"] = None


def _negative_variance(saved):
    saved["start"]["covariance"][0][0] = -1.0


def _text_for_grams(saved):
    saved["steps"][0]["additions_g"]["black"] = "much"


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (_other_format, "is not a tint log"),
        (_no_card_between, "without a card before its last"),
        (_negative_variance, "is not a tint log"),
        (_text_for_grams, "is not a tint log"),
        (lambda saved: saved.pop("mix"), "is not a tint log"),
    ],
)
def test_what_is_no_story_is_refused(spoil, said):
    saved = copy.deepcopy(written(told()))
    spoil(saved)
    with pytest.raises(TintError, match=said):
        story_from(saved, "pot.json")


def test_of_a_card_that_does_not_count_it_is_told_that_it_was_left_out():
    told_so = [line.endswith(", left out.") for line in story_lines(told(), ())]
    assert told_so == [False, False, True, False]
    assert not any("left out" in line for line in story_lines(told().counted(0, True), ()))
