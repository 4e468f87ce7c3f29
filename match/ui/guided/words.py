"""What the strip of the guided check says: one calm sentence or two for each thing that is asked for."""

from match.ui.guided.steps import ORDER, Ask, Step

SAID = {
    Ask.TAP_GREY: "Press Grey, then tap the middle one of the three grey patches. It tells how bright the light is.",
    Ask.TAP_CARD: "With Card pressed, tap the spray-out card, the framed square in the middle.",
    Ask.TAP_CAR: "With Car pressed, tap the car's paint to the left of the card.",
    Ask.TAP_OTHER_SIDE: "With Car pressed, tap on the card's other side too: two sides show how the light falls off.",
    Ask.NOT_GREY: "That box is not on a grey patch. Press Undo, then tap the middle patch.",
    Ask.OTHER_GREY: "That is not the 18 % patch. Press Undo and tap the middle one, or say which grey this is.",
    Ask.NOT_CARD: "That box is not on the card. Press Undo, then tap the card.",
    Ask.NOT_CAR: "That box is not on the car's paint. Press Undo, then tap the paint beside the card.",
    Ask.ACCEPT: "The app looked by itself. See whether each box lies right, then press Use these marks.",
    Ask.BOX_MISSING: "There is no answer without grey, card and car. Press Undo below the photo.",
    Ask.READ: "The black field is the answer: what to do, how sure it is, and why. Read it, then press Next.",
    Ask.REFUSED: "A box lies wrong, so the check refuses. Read why in the answer, and press Undo.",
    Ask.SLIP: "Now a slip on purpose: tap the card's box, then drag it down onto the car.",
    Ask.SLIP_FURTHER: "No refusal yet: drag the box further off the card.",
    Ask.MEND: "The answer refuses and says why: that box shows the car itself. Press Undo below the photo.",
    Ask.TO_ROOM: "Right again. Under the answer, press Plan the blend for your room.",
    Ask.ROOM: "Say what room you have: type 60 as the room on the left, and watch the answer.",
    Ask.ROOM_PLANNED: "The plan followed your room. Look through it, then press Next.",
    Ask.TO_SAVE: "One thing is left, on the Check page.",
    Ask.SAVE: "Save this check keeps photo, boxes and answer. Press it if you like; else nothing is kept.",
    Ask.SAVED: "Kept in your history, marked as an invented demo.",
    Ask.ELSEWHERE: "Your practice waits on the Check page. This page opens once you leave it.",
}
"""Plain text; the names of buttons stand as they stand on them."""


def place_words(step: Step) -> str:
    """Return where in the guided check the person is."""
    return f"Practice on an invented car, step {ORDER.index(step) + 1} of {len(ORDER)}"
