"""The picture of the cards' path: its key."""

from xml.etree import ElementTree

import numpy as np

from match.tint.path_picture import HEIGHT, Place, path_picture

SVG = "{http://www.w3.org/2000/svg}"


def test_the_words_of_the_key_stand_on_one_line_within_the_picture():
    card, landing = (Place("card", np.array([2.0, 1.0, -1.0]), 0.1 * np.eye(3)) for _ in range(2))
    drawn = ElementTree.fromstring(path_picture([card], landing, [landing]))
    at = {text.text: float(text.get("y", "")) for text in drawn.iter(f"{SVG}text")}
    key = ["car", "cards", "predicted; dashed: the next", *(words for words in at if words.startswith("ring: "))]
    assert len(key) == 4
    assert len({at[words] for words in key}) == 1
    assert HEIGHT - 20.0 < at["car"] < HEIGHT
    alone = path_picture([card], None)
    assert ">cards</text>" in alone
    assert "predicted" not in alone
