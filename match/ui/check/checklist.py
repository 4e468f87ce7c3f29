"""What to do before the photo is taken, where most wrong answers are made; every line is common practice."""

STEPS = (
    ("Card cleared and dry.", "Base coat looks different wet, dry and under clear: judge it as the car will look."),
    ("Card sprayed as the job will be.", "Same gun, air, distance, coats and hiding: set-up moves a colour too."),
    ("Panel washed and polished.", "Dirt and dull clear read as a colour difference."),
    ("Card flat on the panel.", "Same plane, touching it, so both get the same light."),
    ("Grey reference beside them.", "Clean and matt. Two or three steps of grey are better than one."),
    ("No lamp mirrored in either.", "Soft, even daylight or daylight lamps. Step aside until the reflection is gone."),
    ("Phone's HDR, night mode and filters off.", "Fill the frame with card, panel and grey; hold still."),
)


def checklist() -> str:
    """Return the list as HTML; a line unfolds to its reason."""
    items = "".join(f"<li><details><summary>{what}</summary>{why}</details></li>" for what, why in STEPS)
    return f'<ul class="sm-checklist">{items}</ul>'
