"""The stance and the legs. Pure numpy, all frames at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.lab import rotations as rot
from trainer.lab.body import Body
from trainer.lab.limbs import two_bones
from trainer.lab.trunk import Trunk

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stance:
    """Where the feet and the club stand at address, in stature or shoulder-width units."""

    width_sw: float = 1.3  #: ankle to ankle, in shoulder-joint widths
    lead_out_deg: float = 24.0
    trail_out_deg: float = 10.0
    club_m: float = 1.13  #: from the top of the grip to the head
    club_away_cm: float = -14.0  #: club head sideways from the middle of the stance


def shoulder_width(body: Body) -> float:
    """Return the distance between the shoulder-joint centres at rest, metres."""
    return float(np.linalg.norm(body.head_of("upperarm01.L") - body.head_of("upperarm01.R")))


def hip_height(body: Body, stance: Stance, d: Mapping[str, Floats]) -> Floats:
    """Return the height of the middle of the hips that gives the knee flex asked for."""
    head_of = body.head_of
    thigh = np.linalg.norm(head_of("lowerleg01.L") - head_of("upperleg01.L"))
    shank = np.linalg.norm(head_of("foot.L") - head_of("lowerleg01.L"))
    flex = np.radians(d["knee_flex_deg"])
    reach2 = thigh**2 + shank**2 + 2 * thigh * shank * np.cos(flex)
    half = stance.width_sw * shoulder_width(body) / 2
    spread = half - abs(head_of("upperleg01.L")[0])
    feet = (d["lead_foot_forward_cm"] + d["trail_foot_forward_cm"]) / 2
    level2 = spread**2 + ((d["hip_forward_cm"] - feet) / 100) ** 2
    height = head_of("foot.L")[1] + np.sqrt(np.maximum(reach2 - level2, 0.1))
    return height + d["hip_rise_cm"] / 100


def overstretch(body: Body, stance: Stance, d: Mapping[str, Floats], trunk: Trunk) -> Floats:
    """Return how far the hips must drop for both feet to stay where they are, metres (T,)."""
    head_of = body.head_of
    drop = np.zeros(len(d["hip_rise_cm"]))
    for side, who in ((".L", "lead"), (".R", "trail")):
        knee = head_of(f"lowerleg01{side}")
        length = np.linalg.norm(knee - head_of(f"upperleg01{side}"))
        length += np.linalg.norm(head_of(f"foot{side}") - knee)
        line = trunk.joints[f"upperleg01{side}"] - _ankle(body, stance, d, side, who)[0]
        flat2 = np.sum(line[:, [0, 2]] ** 2, axis=-1)
        highest = np.sqrt(np.maximum((0.998 * length) ** 2 - flat2, 0.01))
        drop = np.maximum(drop, line[:, 1] - highest)
    return drop


def leg(
    body: Body, stance: Stance, d: Mapping[str, Floats], trunk: Trunk, side: str, who: str
) -> dict[str, Floats]:
    """Return the rotations of one leg's bones, foot where the stance puts it."""
    ankle, foot = _ankle(body, stance, d, side, who)
    hip = trunk.joints[f"upperleg01{side}"]
    rest = _foot_angle(body, side)
    ahead = np.array([np.sin(np.radians(rest)), 0.0, np.cos(np.radians(rest))])
    pole = rot.unit(
        rot.apply(foot, ahead) * 0.75 + rot.apply(trunk.pelvis, np.array([0, 0, 1.0])) * 0.25
    )
    names = (f"upperleg01{side}", f"lowerleg01{side}", f"foot{side}")
    upper, lower, _ = two_bones(body, names, hip, ankle, pole, np.array([0.0, 0.0, 1.0]))
    return {
        f"pelvis{side}": trunk.pelvis,
        f"upperleg01{side}": upper,
        f"upperleg02{side}": upper,
        f"lowerleg01{side}": lower,
        f"lowerleg02{side}": lower,
        f"foot{side}": foot,
    }


def _ankle(
    body: Body, stance: Stance, d: Mapping[str, Floats], side: str, who: str
) -> tuple[Floats, Floats]:
    """Return where the ankle is (T, 3) and how the foot is turned (T, 3, 3)."""
    head_of = body.head_of
    sign = 1.0 if side == ".L" else -1.0
    half = stance.width_sw * shoulder_width(body) / 2
    out = stance.lead_out_deg if who == "lead" else stance.trail_out_deg
    rest = _foot_angle(body, side)
    turn = rot.about_y(sign * out - rest)
    ankle, toe = head_of(f"foot{side}"), head_of(f"toe2-1{side}")
    flat = np.stack(
        [
            sign * half - d[f"{who}_foot_away_cm"] / 100,
            ankle[1] + d[f"{who}_step_cm"] / 100,
            d[f"{who}_foot_forward_cm"] / 100,
        ],
        axis=-1,
    )
    whole = rot.about_y(-d["stance_turn_deg"])
    flat = rot.apply(whole, flat)
    turn = whole @ turn
    # the heel rises about the ball of the foot
    ball = flat + rot.apply(turn, toe - ankle)
    length = np.linalg.norm((toe - ankle)[[0, 2]]) + 0.05
    pitch = np.degrees(np.arcsin(np.clip(d[f"{who}_heel_cm"] / 100 / length, 0, 0.9)))
    side_axis = rot.apply(
        turn, np.array([np.cos(np.radians(rest)), 0.0, -np.sin(np.radians(rest))])
    )
    turned = rot.about(side_axis, pitch) @ turn
    return ball - rot.apply(turned, toe - ankle), turned


def _foot_angle(body: Body, side: str) -> float:
    way = body.head_of(f"toe2-1{side}") - body.head_of(f"foot{side}")
    return float(np.degrees(np.arctan2(way[0], way[2])))
