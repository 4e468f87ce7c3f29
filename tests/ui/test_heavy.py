"""Heavy work has one turn for all visitors, and decoded photos are kept by what they take in memory."""

import threading
import time

import numpy as np

from match.photo.load import load
from match.ui.heavy import DecodedPhotos, heavy_work, in_turn
from tests.support.photo_files import encoded


def photo(value):
    return load(encoded(np.full((100, 100, 3), value, np.uint8), "PNG"), f"{value}.png")


def test_one_visitor_at_a_time_has_the_turn():
    inside, most = [], []

    def visit():
        with heavy_work(), heavy_work():
            inside.append(1)
            most.append(len(inside))
            time.sleep(0.01)
            inside.pop()

    visitors = [threading.Thread(target=visit) for _ in range(8)]
    for each in visitors:
        each.start()
    for each in visitors:
        each.join(10)
    assert most == [1] * 8


def test_a_function_asked_in_turn_waits_until_another_visitor_is_through():
    begun, told = threading.Event(), []
    asked = in_turn(told.append)

    def visit():
        begun.set()
        asked("second")

    with heavy_work():
        visitor = threading.Thread(target=visit)
        visitor.start()
        begun.wait(10)
        visitor.join(0.05)
        told.append("first")
    visitor.join(10)
    assert told == ["first", "second"]


def test_photos_not_looked_at_for_longest_are_let_go_and_the_last_one_stays():
    kept = DecodedPhotos(most_bytes=70_000)  # two photos of 30 kB
    for value in (1, 2):
        kept.put(str(value), photo(value))
    assert kept.get("1").name == "1.png"
    kept.put("3", photo(3))
    assert kept.get("2") is None
    assert kept.get("1") is not None
    tight = DecodedPhotos(most_bytes=1)
    assert tight.put("1", photo(1)) is tight.get("1")
