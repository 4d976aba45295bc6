"""Arms, hands and the club they hold. Pure numpy, all frames at once.

The lead arm leads: its wrist travels on an arc about the lead shoulder, the club follows from its
hand, and the trail arm reaches for the club.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.lab import rotations as rot
from trainer.lab.body import Body
from trainer.lab.legs import Stance
from trainer.lab.limbs import lengths, swing_only, twist_towards, two_bones
from trainer.lab.trunk import Trunk

Floats = NDArray[np.float64]

#: Angle from the fingers' direction to the shaft, towards the thumb.
GRIP_DEG = 62.0
#: The lead palm holds the shaft this far below the top of the grip.
GRIP_DOWN_M = 0.07
#: The trail palm holds it this much further down.
HANDS_APART_M = 0.078
#: How far each joint of a finger curls round the grip.
CURL_DEG = ((1, 52.0), (2, 74.0), (3, 48.0))
#: Height of the middle of the club head when it lies on the floor.
HEAD_UP_M = 0.03


@dataclass(slots=True)
class Lead:
    """The lead arm and the club over T frames; directions are units (T, 3)."""

    bones: dict[str, Floats]  #: rotations by bone name, (T, 3, 3)
    forearm: Floats  #: from elbow to wrist
    palm: Floats  #: way the palm looks with a flat wrist
    thumb: Floats  #: way the shaft goes when the wrist cocks
    shaft: Floats  #: from grip to head
    palm_on_shaft: Floats  #: way the palm looks, square to the shaft
    fingers: Floats
    grip: Floats  #: point the palm holds, (T, 3) metres


@dataclass(frozen=True, slots=True)
class Wrist:
    """How the shaft lies to the lead forearm at address, (1,) or (T,) degrees each."""

    cock_deg: Floats  #: in the plane of the palm
    cup_deg: Floats  #: out of it


def address_wrist(body: Body, stance: Stance, d: Mapping[str, Floats], trunk: Trunk) -> Wrist:
    """Return the wrist that lays the club head on the floor where the stance wants it."""
    head = np.array([-stance.club_away_cm / 100.0, HEAD_UP_M])
    lead = lead_arm(body, d, trunk, Wrist(np.full(1, 35.0), np.zeros(1)))
    for _ in range(5):  # the grip point moves as the hand turns onto the shaft
        down = (head - lead.grip[:, :2]) / (stance.club_m - GRIP_DOWN_M)
        ahead = np.sqrt(np.maximum(1.0 - np.sum(down**2, axis=-1), 0.05))
        shaft = rot.unit(np.concatenate([down, ahead[:, None]], axis=-1))
        wrist = Wrist(
            np.degrees(
                np.arctan2(np.sum(shaft * lead.thumb, -1), np.sum(shaft * lead.forearm, -1))
            ),
            np.degrees(np.arcsin(np.clip(np.sum(shaft * lead.palm, -1), -1, 1))),
        )
        lead = lead_arm(body, d, trunk, wrist)
    return wrist


def lead_arm(body: Body, d: Mapping[str, Floats], trunk: Trunk, wrist: Wrist) -> Lead:
    """Pose the lead arm and the club; ``wrist`` is that of the address."""
    shoulder = trunk.joints["upperarm01.L"]
    way = _arm_direction(d["arm_lift_deg"], d["arm_across_deg"])
    reach = _reach(body, ".L", d["lead_bend_deg"])
    place = shoulder + reach[:, None] * rot.apply(trunk.thorax, way)
    upper, lower, elbow = _arm(body, ".L", shoulder, place, _elbow_pole(d, trunk, 1.0))
    forearm = rot.unit(place - elbow)
    roll = np.radians(d["forearm_roll_deg"])
    hint = np.stack([-np.cos(roll), -np.sin(roll), 0 * roll], axis=-1)
    palm = rot.across(rot.apply(trunk.thorax, hint), forearm)
    thumb = np.cross(palm, forearm)
    cock = np.radians(wrist.cock_deg + d["cock_deg"])[:, None]
    cup = np.radians(wrist.cup_deg * (1 - d["flat_wrist"]))[:, None]
    shaft = np.cos(cup) * (np.cos(cock) * forearm + np.sin(cock) * thumb) + np.sin(cup) * palm
    square = rot.across(palm, shaft)
    fingers = rot.apply(rot.about(square, np.full(len(square), -GRIP_DEG)), shaft)
    hand = _hand(body, ".L", fingers, square)
    return Lead(
        bones=_arm_bones(body, ".L", trunk, upper, lower, hand),
        forearm=forearm,
        palm=palm,
        thumb=thumb,
        shaft=shaft,
        palm_on_shaft=square,
        fingers=fingers,
        grip=place + rot.apply(hand, _grip_offset(body, ".L")),
    )


def trail_arm(body: Body, d: Mapping[str, Floats], trunk: Trunk, lead: Lead) -> dict[str, Floats]:
    """Return the rotations of the trail arm, reaching for the club or free (trail_free)."""
    shoulder = trunk.joints["upperarm01.R"]
    # the trail hand sits below the lead hand, palm facing it across the shaft
    hand = _hand(body, ".R", lead.fingers, -lead.palm_on_shaft)
    point = lead.grip + HANDS_APART_M * lead.shaft
    pole = _elbow_pole(d, trunk, -1.0)
    for _ in range(3):
        wrist = point - rot.apply(hand, _grip_offset(body, ".R"))
        upper, lower, elbow = _arm(body, ".R", shoulder, wrist, pole)
        # let the hand roll round the shaft part of the way towards its forearm
        wanted = rot.across(rot.unit(wrist - elbow), lead.shaft)
        now = rot.across(lead.fingers, lead.shaft)
        sine = np.sum(np.cross(now, wanted) * lead.shaft, -1)
        turn = np.degrees(np.arctan2(sine, np.sum(now * wanted, -1)))
        around = rot.about(lead.shaft, np.clip(0.5 * turn, -35, 35))
        palm = -rot.apply(around, lead.palm_on_shaft)
        hand = _hand(body, ".R", rot.apply(around, lead.fingers), palm)
    free = d["trail_free"]
    if np.any(free > 0):
        way = _arm_direction(d["trail_lift_deg"], d["trail_out_deg"])
        reach = _reach(body, ".R", d["trail_bend_deg"])
        loose = shoulder + reach[:, None] * rot.apply(trunk.thorax, way)
        wrist = (1 - free)[:, None] * wrist + free[:, None] * loose
        upper, lower, _ = _arm(body, ".R", shoulder, wrist, pole)
        mixed = [rot.between(a, b, float(p)) for a, b, p in zip(hand, lower, free, strict=True)]
        hand = np.stack(mixed)
    return _arm_bones(body, ".R", trunk, upper, lower, hand)


def _arm(
    body: Body, side: str, shoulder: Floats, wrist: Floats, pole: Floats
) -> tuple[Floats, Floats, Floats]:
    names = (f"upperarm01{side}", f"lowerarm01{side}", f"wrist{side}")
    a, b, c = (body.head_of(name) for name in names)
    rest_pole = rot.across(b - a, rot.unit(c - a))
    return two_bones(body, names, shoulder, wrist, pole, rest_pole)


def _arm_bones(
    body: Body, side: str, trunk: Trunk, upper: Floats, lower: Floats, hand: Floats
) -> dict[str, Floats]:
    """Spread the twist of shoulder and forearm over the bones along them."""
    blade = trunk.bones[f"shoulder01{side}"]
    elbow, wrist = body.head_of(f"lowerarm01{side}"), body.head_of(f"wrist{side}")
    along = rot.unit(elbow - body.head_of(f"upperarm01{side}"))
    near = blade @ swing_only(np.swapaxes(blade, -1, -2) @ upper, along)
    return {
        f"upperarm01{side}": rot.between(near, upper, 0.5),
        f"upperarm02{side}": upper,
        f"lowerarm01{side}": lower,
        f"lowerarm02{side}": twist_towards(lower, hand, rot.unit(wrist - elbow), 0.6),
        f"wrist{side}": hand,
        **_fingers(body, side, hand),
    }


def _reach(body: Body, side: str, bend_deg: Floats) -> Floats:
    """Return the distance from shoulder to wrist with the elbow bent so (cosine rule)."""
    upper, lower = lengths(body, f"upperarm01{side}", f"lowerarm01{side}", f"wrist{side}")
    bend = np.radians(np.clip(bend_deg, 1.0, 150.0))
    return np.sqrt(upper**2 + lower**2 + 2 * upper * lower * np.cos(bend))


def _arm_direction(lift_deg: Floats, across_deg: Floats) -> Floats:
    """Return the way from shoulder to wrist in the frame of the thorax (T, 3)."""
    lift, across = np.radians(lift_deg), np.radians(across_deg)
    return np.stack(
        [-np.sin(across), -np.cos(across) * np.cos(lift), np.cos(across) * np.sin(lift)], axis=-1
    )


def _elbow_pole(d: Mapping[str, Floats], trunk: Trunk, sign: float) -> Floats:
    """Return which way the elbow points: back and out at address, to the floor at the top."""
    drop = np.radians(d["elbow_drop_deg"])[:, None]
    back = rot.apply(trunk.thorax, np.array([0.45 * sign, -0.35, -0.8]))
    return rot.unit(np.cos(drop) * back + np.sin(drop) * np.array([0.0, -1.0, 0.0]))


def _rest_hand(body: Body, side: str) -> Floats:
    """Return the hand's frame at rest: columns fingers' way, towards the thumb, palm."""
    head_of = body.head_of
    fingers = rot.unit(head_of(f"finger3-1{side}") - head_of(f"wrist{side}"))
    thumb = rot.across(head_of(f"finger2-1{side}") - head_of(f"finger5-1{side}"), fingers)
    return np.stack([fingers, thumb, _hand_sign(side) * np.cross(fingers, thumb)], axis=-1)


def _hand(body: Body, side: str, fingers: Floats, palm: Floats) -> Floats:
    """Return the rotation that points the fingers and the palm as asked for."""
    thumb = _hand_sign(side) * np.cross(palm, fingers)
    return np.stack([fingers, thumb, palm], axis=-1) @ _rest_hand(body, side).T


def _hand_sign(side: str) -> float:
    return 1.0 if side == ".L" else -1.0


def _grip_offset(body: Body, side: str) -> Floats:
    """Return, at rest, from the wrist to where the shaft crosses the palm (3,)."""
    length = np.linalg.norm(body.head_of(f"finger3-1{side}") - body.head_of(f"wrist{side}"))
    return _rest_hand(body, side) @ np.array([length * 0.86, 0.0, 0.03])


def _fingers(body: Body, side: str, hand: Floats) -> dict[str, Floats]:
    """Curl the fingers round the grip and lay the thumb along it."""
    axes, sign = _rest_hand(body, side), _hand_sign(side)
    bones: dict[str, Floats] = {}
    for finger in (2, 3, 4, 5):
        total = 0.0
        for joint, curl in CURL_DEG:
            total += curl
            turn = rot.about(axes[:, 1], np.array(-sign * total))
            bones[f"finger{finger}-{joint}{side}"] = hand @ turn
    thumb = rot.about(axes[:, 2], np.array(-sign * 15.0))
    thumb = thumb @ rot.about(axes[:, 0], np.array(sign * 25.0))
    for joint in (1, 2, 3):
        bones[f"finger1-{joint}{side}"] = hand @ thumb
    return bones
