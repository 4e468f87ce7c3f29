"""The widths that pages share."""

PICTURE_WIDTH_PX = 520
COLUMNS = (1.25, 1)
"""A form or photo on the left, its answer on the right."""

ANSWER_COLUMNS = (1, 1.35)
"""A short form on the left, a long answer on the right."""
