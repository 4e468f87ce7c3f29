"""How the photo should look, as a drawing (SVG, no colour)."""

WORDS = "The card lies flat on the panel, three grey steps beside it, the whole lit evenly, no lamp mirrored in it."


def example_picture() -> str:
    """Return the drawing."""
    steps = "".join(
        f'<rect x="{268 + 30 * index}" y="72" width="30" height="84" fill="{grey}"/>'
        for index, grey in enumerate(("#3c3c3c", "#767676", "#ececec"))
    )
    labels = "".join(
        f'<path d="M{x} {y}V{end}" stroke="#161616" stroke-width="1.5"/><circle cx="{x}" cy="{end}" r="3"/>'
        f'<text x="{x}" y="{y + 17}" text-anchor="middle">{name}</text>'
        for x, y, end, name in ((68, 212, 172, "car"), (176, 212, 142, "card"), (313, 212, 142, "grey reference"))
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 420 238" fill="#161616" font-size="15" '
        'font-family="Source Sans, Helvetica, Arial, sans-serif">'
        '<rect x="4" y="4" width="412" height="188" rx="6" fill="#949494" stroke="#161616" stroke-width="2"/>'
        '<path d="M6 34C120 22 300 22 414 34" fill="none" stroke="#6b6b6b" stroke-width="3"/>'
        '<rect x="118" y="64" width="116" height="100" fill="#8d8d8d" stroke="#f6f6f6" stroke-width="3"/>'
        '<circle cx="176" cy="76" r="4" fill="#f6f6f6"/>'
        f'{steps}<rect x="268" y="72" width="90" height="84" fill="none" stroke="#161616"/>{labels}</svg>'
    )
