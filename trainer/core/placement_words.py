"""Words of the placement guide. Left and right are the player's own."""

from __future__ import annotations

from typing import Final

from trainer.core.placement import Check, Finding, Group, Stage
from trainer.core.records import Handed

#: Big words and what to do, for what is no finding.
STAGES: Final = {
    Stage.NOBODY: (
        "Step into the picture",
        "About 3 m away, so that the camera sees you from your shoes to your raised hands.",
    ),
    Stage.ADDRESS: (
        "Stand at address",
        "Face the camera, hands together on the club, and stay still.",
    ),
    Stage.LOOKING: ("Stay as you are", "Looking …"),
    Stage.READY: ("Ready", "All that can be told from here is right."),
}

GROUP_NAMES: Final = {
    Group.DISTANCE: "distance",
    Group.WHOLE: "in picture",
    Group.LIGHT: "light",
    Group.LEVEL: "level",
    Group.SQUARE: "square",
    Group.PICTURES: "pictures",
}

#: What is said of square rests on: a rod on the floor, or the body alone.
RESTS_ON: Final = {
    True: "Square: from the rod on the floor",
    False: "Square: from your stance",
}


def finding_words(finding: Finding, handed: Handed) -> tuple[str, str]:
    """Return what is off in a few big words, and what to change."""
    check = finding.check
    if check is Check.HANDS:
        return "Hands out at the top", _hands(finding, handed)
    if check in (Check.ROLL, Check.PITCH, Check.YAW):
        return _angle(finding)
    if check is Check.NEAR and finding.amount is not None and finding.amount > 0:
        return "Too near", f"Put the camera {_metres(finding.amount)} further away from you."
    if check is Check.PACE:
        rate = f"{-finding.badness:.0f} pictures a second are too few"
        return "Pictures too slow", f"{rate}. More light; close other programs."
    return _PLAIN[check]


_PLAIN: Final = {
    Check.NEAR: ("Too near", "Put the camera further away from you."),
    Check.FAR: ("Too far", "Bring the camera nearer, until you fill two thirds of the picture."),
    Check.FEET: ("Feet out of the picture", "Go back a step, or lower the camera."),
    Check.HEAD: ("Head out of the picture", "Go back a step, or raise the camera."),
    Check.BACKLIT: (
        "Light behind you",
        "Have the window or the sun behind the camera, or draw the curtain.",
    ),
    Check.DARK: ("Too dark", "More light on you: a lamp beside the camera."),
    Check.SMEAR: (
        "Hands smear",
        "More light on you, or a shorter exposure in the camera's program: 1/250 s.",
    ),
}


def _hands(finding: Finding, handed: Handed) -> str:
    if finding.aside:
        # More room is wanted on the trail side, which is the right of a right-hander.
        side = "left" if handed is Handed.RIGHT else "right"
        return f"To the side: stand half a step further to your {side}."
    if finding.value < 0:
        return "To the side: put the camera further away."
    return "Above: go back a step, or raise the camera."


def _angle(finding: Finding) -> tuple[str, str]:
    positive = finding.value > 0
    if finding.check is Check.ROLL:
        # Clockwise as seen from behind the camera: its end toward the player's left is down.
        side = "left" if positive else "right"
        return "Camera leans", f"Raise its end on your {side}, until it stands level."
    if finding.check is Check.PITCH:
        way, other, move = ("down", "up", "lower") if positive else ("up", "down", "raise")
        return (
            f"Camera looks {way}",
            f"Tip it {other} until it is level, and {move} it if it is not at hand height.",
        )
    side = "right" if positive else "left"
    far = "" if finding.amount is None else f" about {_metres(finding.amount)}"
    return "Camera not square", f"Move it{far} to your {side}, and turn it to you again."


def _metres(metres: float) -> str:
    """Return a length as it can be stepped off; no finer than it is known."""
    if metres < 0.95:
        return f"{max(round(metres * 10) * 10, 10)} cm"
    return f"{metres:.1f} m"
