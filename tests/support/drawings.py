"""The colours that a drawing really uses."""

import re


def colours(drawing):
    """Return every colour of a drawing as it is written; a drawing without any has not been drawn."""
    painted = re.sub(r"url\(#[^)]*\)", "", drawing)  # a gradient or clip that is named, not a colour
    found = set(re.findall(r"#[0-9a-fA-F]{3,8}\b|\b(?:rgb|hsl)a?\([^)]*\)", painted))
    assert found, "nothing is drawn"
    return found


def tinted(drawing):
    """Return the colours that have a hue; a colour written any other way than #rgb or #rrggbb counts as one."""
    return {colour for colour in colours(drawing) if not re.fullmatch(r"#(?:(\w)\1\1|(\w\w)\2\2)", colour)}
