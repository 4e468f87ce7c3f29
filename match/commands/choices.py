"""What a command lets be chosen of a paint and of where it ends; literals, so that ``--help`` stays instant."""

FINISHES = ("solid", "metallic", "pearl")
JUNCTIONS = ("same-panel", "body-line", "panel-gap", "other-part")
