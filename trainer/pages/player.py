"""A made-up player for the photographs: points in a picture, no person's.

Proportions are round shares of stature, chosen to look right; nothing is measured by them.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from trainer.core.landmarks import LANDMARK_COUNT
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed, Pose

SIZE_WH: Final = (1280, 720)
STATURE_M: Final = 1.75
DISTANCE_M: Final = 3.0
EYE_M: Final = 0.95  #: height of the camera
FIELD_DEG: Final = 70.0  #: across the picture
LEAN_DEG: Final = 30.0  #: of the trunk toward the camera


@dataclass(frozen=True, slots=True, kw_only=True)
class Posture:
    """How the player stands; centimetres and degrees, + away from the target or up."""

    arc_deg: float = 0.0  #: of the hands about the chest; 0 hang down
    turn_deg: float = 0.0
    hip_turn_deg: float = 0.0
    head_cm: float = 0.0
    hips_cm: float = 0.0
    tilt_cm: float = 3.0  #: chest and head from over the hips
    stance_m: float = 0.21  #: from the middle to each foot
    hand_up: bool = False  #: the trail hand above the head
    folded: bool = False  #: hands on the chest


ADDRESS: Final = Posture()
TOP: Final = Posture(arc_deg=122.0, turn_deg=72.0, hip_turn_deg=36.0, head_cm=2.0, hips_cm=1.0)


def between(first: Posture, second: Posture, share: float) -> Posture:
    """Return the posture ``share`` (0..1) of the way, evenly begun and ended."""
    eased = 10 * share**3 - 15 * share**4 + 6 * share**5
    values = {}
    for item in fields(Posture):
        a, b = getattr(first, item.name), getattr(second, item.name)
        values[item.name] = b if isinstance(b, bool) else a + (b - a) * eased
    return Posture(**values)


def pose_of(posture: Posture, t_s: float, handed: Handed = Handed.RIGHT) -> Pose:
    """Return the 33 points of the player in that posture as a camera 3 m away sees them."""
    h = STATURE_M
    points = np.zeros((LANDMARK_COUNT, 3))  # metres: x to the picture's right, y up, z to camera
    lean = np.radians(LEAN_DEG)
    up = np.array([0.0, np.cos(lean), np.sin(lean)])
    hips = np.array([-posture.hips_cm / 100, 0.52 * h, 0.0])
    chest = hips + 0.29 * h * up - [posture.tilt_cm / 100, 0.0, 0.0]
    for name, middle, wide, turn_deg in (
        ("HIP", hips, 0.105, posture.hip_turn_deg),
        ("SHOULDER", chest, 0.215, posture.turn_deg),
    ):
        turn = np.radians(turn_deg)
        across = [np.cos(turn), -np.sin(lean) * np.sin(turn), np.cos(lean) * np.sin(turn)]
        points[L[f"LEFT_{name}"]] = middle + wide * h / 2 * np.array(across)
        points[L[f"RIGHT_{name}"]] = middle - wide * h / 2 * np.array(across)
    head = chest + _by((posture.hips_cm - posture.head_cm) / 100, 0.13 * h, 0.1)
    for point in range(L.RIGHT_EAR + 3):
        points[point] = head  # face: nose, eyes, ears, mouth
    points[L.NOSE] += [0, 0, 0.1]
    points[L.LEFT_EAR, 0] += 0.07
    points[L.RIGHT_EAR, 0] -= 0.07
    arc = np.radians(posture.arc_deg)
    hands = chest + _by(posture.tilt_cm / 100, 0, 0)
    hands = hands + 0.36 * h * np.array([-np.sin(arc), -np.cos(arc), 0.3])
    for side, sign in (("LEFT", 1.0), ("RIGHT", -1.0)):
        wrist = hands + 0.03 * sign * np.array([1.0, 1.0, 0.0])
        if posture.folded:
            wrist = chest + _by(-0.12 * sign, -0.08, 0.15)
        if posture.hand_up and side == "RIGHT":
            wrist = head + _by(-0.12, 0.35, 0.0)
        shoulder = points[L[f"{side}_SHOULDER"]]
        points[L[f"{side}_WRIST"]] = wrist
        points[L[f"{side}_ELBOW"]] = (shoulder + wrist) / 2 - [0.05 * sign, 0.02, 0.0]
        for part in ("PINKY", "INDEX", "THUMB"):
            points[L[f"{side}_{part}"]] = wrist - [0, 0.05, 0]
        foot = np.array([sign * posture.stance_m, 0.04 * h, 0.0])
        points[L[f"{side}_ANKLE"]] = foot
        points[L[f"{side}_HEEL"]] = foot - [0.0, 0.04, 0.03]
        points[L[f"{side}_FOOT_INDEX"]] = foot + _by(0.03 * sign, -0.04, 0.15)
        points[L[f"{side}_KNEE"]] = (points[L[f"{side}_HIP"]] + foot) / 2 + [0, 0, 0.06]
    if handed is Handed.LEFT:
        points = _other_hand(points)
    focal = SIZE_WH[0] / 2 / np.tan(np.radians(FIELD_DEG) / 2)
    depth = DISTANCE_M - points[:, 2]
    x = SIZE_WH[0] / 2 + focal * points[:, 0] / depth
    y = SIZE_WH[1] / 2 - focal * (points[:, 1] - EYE_M) / depth
    world = (points - points[[L.LEFT_HIP, L.RIGHT_HIP]].mean(axis=0)) * [1, -1, -1]
    return Pose(
        t_s=t_s,
        size_wh=SIZE_WH,
        image_px=np.stack([x, y], axis=1),
        depth_px=world[:, 2] * focal / DISTANCE_M,
        world_m=world,
        visibility=np.ones(LANDMARK_COUNT),
    )


def _by(x_m: float, y_m: float, z_m: float) -> np.ndarray:
    return np.array([x_m, y_m, z_m])


def _other_hand(points: np.ndarray) -> np.ndarray:
    """Return the same player swinging the other way: mirrored, left and right changed over."""
    mirrored = points * [-1.0, 1.0, 1.0]
    changed = mirrored.copy()
    for point in L:
        if "LEFT" in point.name:
            other = L[point.name.replace("LEFT", "RIGHT")]
            changed[point], changed[other] = mirrored[other], mirrored[point]
    return changed
