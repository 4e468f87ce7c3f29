"""Rendered photographs with a known true colour difference: the demo and the yardstick of the tests."""
