"""Words of the first run's pages, and of the placement guide's frame."""

from __future__ import annotations

from typing import Final

from trainer.core.records import Handed
from trainer.ports import GuidePage

TITLES: Final = {
    GuidePage.HAND: "Which way do you swing?",
    GuidePage.STATURE: "How tall are you?",
    GuidePage.DRIVER: "How long is your driver?",
}
LOOKING: Final = "Looking for cameras …"
OPENING: Final = "Opening the camera …"
NO_CAMERA: Final = "No camera"
ONE_CAMERA: Final = "Is this the camera?"
WHICH_CAMERA: Final = "Which camera?"

LINES: Final = {
    GuidePage.CAMERA: ("The one that looks at you while you swing, from the front.",),
    GuidePage.HAND: (),
    GuidePage.STATURE: (
        "In centimetres, or in feet and inches: 178 or 5 ft 10.",
        "It sets the scale of all centimetres. Leave it empty if you would rather not say.",
    ),
    GuidePage.DRIVER: (
        "From grip to sole, if you know: 45 in or 114.",
        "It tells how far from you the camera must stand.",
    ),
}
HANDS: Final = {
    Handed.RIGHT: "right-handed: the target is to your left",
    Handed.LEFT: "left-handed: the target is to your right",
}

ENTRY_FOOT: Final = "Enter: go on   ·   Page Up: back   ·   Esc: pass over all this"
CHOICE_FOOT: Final = "arrows: choose   ·   " + ENTRY_FOOT
CAMERA_FOOT: Final = "Enter: take it   ·   Esc: pass over all this"
CAMERAS_FOOT: Final = "arrows: choose   ·   " + CAMERA_FOOT
NONE_FOOT: Final = "Enter: look again   ·   Esc: pass over all this   ·   Q: quit"
WAIT_FOOT: Final = "Esc: pass over all this"
PLACEMENT_FOOT: Final = "Enter: to the mirror   ·   F2: this page again   ·   F4: the caution"

#: Said at the mirror's start, once.
REPEAT: Final = "F2 shows where to put the camera, F3 asks everything again."
