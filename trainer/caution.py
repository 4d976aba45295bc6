"""The safety caution, as plain text: the one source for the window, the terminal and the docs."""

CAUTION_TITLE = "Before you swing"

#: Each line stands alone. Wrap freely; do not drop a line.
CAUTION_LINES = (
    "Warm up first, and begin with slow swings.",
    "Clear the space: ceiling, lamps, furniture, people and pets, a club's length and more all "
    "round. Indoors without a rated net, no ball.",
    "Stop at once if it hurts, or if you feel dizzy, numb or short of breath, and see a health "
    "professional.",
    "If you have had back, hip, shoulder or heart trouble, are pregnant or are recovering, ask a "
    "health professional before you start.",
    "Never force the turn. The target can be lowered, and the P key ends all asking for turn.",
    "These are practice hints from a camera, not medical advice.",
    "A qualified coach judges technique; this program only measures.",
)

PAIN_TITLE = "Pain marked: stop swinging"

#: Shown as soon as the player marks pain.
PAIN_LINES = (
    "Put the club down and rest.",
    "No more turn is asked for in this session.",
    "If it is strong, spreads, tingles or does not pass, see a health professional.",
)
