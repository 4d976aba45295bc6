"""Standing still at address, and the reference taken there.

Everything the program measures is measured against this reference: where head, hips, hands and
shoulders were while the player stood still.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core import middles
from trainer.core.landmarks import Landmark
from trainer.core.records import Handed, Outline, Pose
from trainer.core.rules import Rules, SetupRules
from trainer.core.silhouette import median_outline

FloatArray = NDArray[np.float64]

#: Hip joint to ankle joint as a share of stature: hip height 0.530 less ankle height 0.039,
#: Drillis & Contini 1966 as printed by Winter (both values from memory).
LEG_OF_STATURE: Final = 0.491

#: At address the legs look shorter than they are: the knees are bent, and the pose model's hip
#: points lie below the joints. Median over 45 rendered people, standard deviation 0.03.
LEG_SEEN: Final = 0.947

_LEGS: Final = slice(Landmark.LEFT_HIP, Landmark.RIGHT_ANKLE + 1)
#: The pairs whose midpoints must stay put: hips, shoulders, hands.
_WATCHED_LEFT: Final = np.array(
    [Landmark.LEFT_HIP, Landmark.LEFT_SHOULDER, Landmark.LEFT_WRIST], dtype=np.intp
)
_WATCHED_RIGHT: Final = np.array(
    [Landmark.RIGHT_HIP, Landmark.RIGHT_SHOULDER, Landmark.RIGHT_WRIST], dtype=np.intp
)

#: Steps that go with the next by less than this share undo one another; see ``_flickers``.
FLICKER: Final = 0.1
#: Hands that flicker about one place may be seen so many times as far about as still ones.
FLICKER_SPREADS: Final = 2.5
#: A lost wrist seen within so many shoulder widths of the other is where it should be.
FOUND_SW: Final = 0.5
_OTHER_WRIST: Final = {
    Landmark.LEFT_WRIST: Landmark.RIGHT_WRIST,
    Landmark.RIGHT_WRIST: Landmark.LEFT_WRIST,
}
#: A wrist and the points of its hand.
_HANDS: Final = {
    Landmark.LEFT_WRIST: np.arange(Landmark.LEFT_WRIST, Landmark.RIGHT_THUMB + 1, 2),
    Landmark.RIGHT_WRIST: np.arange(Landmark.RIGHT_WRIST, Landmark.RIGHT_THUMB + 1, 2),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reference:
    """The player's own setup: medians over the still window.

    Pixels are those of the unmirrored picture.
    """

    t_s: float  #: when the still window began
    handed: Handed
    image_px: FloatArray  #: (33, 2)
    depth_px: FloatArray  #: (33,)
    world_m: FloatArray  #: (33, 3)
    cm_per_px: float
    scale_from_stature: bool  #: False: from the pose model's own metres
    outline: Outline | None = None
    trunk_deg: FloatArray | None = None  #: (2, 3) as ``Pose.trunk_deg``; None if mostly not read
    lost: int | None = None  #: the wrist the pose model could not find: 0 left, 1 right

    hand_px: FloatArray = field(init=False)  #: mid-wrist, shape (2,)
    chest_px: FloatArray = field(init=False)  #: mid-shoulder, shape (2,)
    hip_px: FloatArray = field(init=False)  #: mid-hip, shape (2,)
    head_px: FloatArray = field(init=False)  #: the head point, shape (2,)

    def __post_init__(self) -> None:
        """Work out once what is asked for many times a picture."""
        for name, part in (("hand_px", "wrist"), ("chest_px", "shoulder"), ("hip_px", "hip")):
            object.__setattr__(self, name, geo.middle(self.image_px, part))
        object.__setattr__(self, "head_px", geo.head_point(self.image_px))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StillWindow:
    """Recent poses, newest last, and since when the player has been still at address."""

    poses: tuple[Pose, ...] = ()


def push(window: StillWindow, pose: Pose | None, t_s: float, rules: SetupRules) -> StillWindow:
    """Add ``pose`` and forget what is older than ``rules.window_s``.

    An unread frame adds nothing; a gap longer than 0.3 s empties the window, because what the
    player did meanwhile is not known.
    """
    if pose is None:
        if window.poses and t_s - window.poses[-1].t_s > 0.3:
            return StillWindow()
        return window
    kept = window.poses
    if kept and pose.t_s - kept[-1].t_s > 0.3:
        kept = ()
    oldest_s = pose.t_s - rules.window_s
    start = 0
    while start < len(kept) and kept[start].t_s < oldest_s:
        start += 1
    return StillWindow(poses=(*kept[start:], pose))


def reference_from(
    window: StillWindow,
    rules: Rules,
    looks_ready: Callable[[Pose, SetupRules], bool] | None = None,
    *,
    flickering: bool = False,
) -> Reference | None:
    """Return the reference if the newest ``rules.setup.still_s`` shows a still address.

    None while the player moves, the hands are not together in front of the body, or too little
    has been seen. The reference is the median of the whole still stretch at the window's end.
    ``looks_ready`` tells another posture than the address that is waited for. With ``flickering``
    hands count as still too whose points jump about one place, or whose one wrist is lost.
    """
    poses = window.poses
    setup = rules.setup
    if len(poses) < 5 or poses[-1].t_s - poses[0].t_s < setup.still_s:
        return None
    scale, _ = scale_cm_per_px(poses[-1].image_px, poses[-1].world_m, rules.stature_cm)
    if scale is None:
        return None
    times = np.array([p.t_s for p in poses])
    pictures = np.array([p.image_px for p in poses])
    # The newest stretch must be still; older poses count as long as they lie within it too.
    is_recent = times >= times[-1] - setup.still_s - 1e-9
    lost = _lost_wrist(pictures[is_recent], scale, setup) if flickering else None
    if lost is not None:
        pictures = _both_at_one(pictures, lost)
    posture = poses[-1] if lost is None else replace(poses[-1], image_px=pictures[-1])
    if not (looks_ready or looks_like_address)(posture, setup):
        return None
    # Hands that come together from both sides leave their middle where it is.
    if looks_ready is None and not _mostly_together(pictures[is_recent], setup):
        return None
    points = (pictures[:, _WATCHED_LEFT] + pictures[:, _WATCHED_RIGHT]) * 0.5
    limits_cm = np.array([setup.body_spread_cm, setup.body_spread_cm, setup.hands_spread_cm])
    recent = points[is_recent]
    moved = _spread(recent) * scale > limits_cm
    flickers = flickering and bool(moved[-1]) and _stays_about(recent[:, -1] * scale, setup)
    if np.any(moved[:-1]) or (moved[-1] and not flickers):
        return None
    centre = middles.median(recent)
    away = np.linalg.norm(points - centre, axis=2) * scale > limits_cm
    moving = np.nonzero((np.any(away, axis=1) | flickers) & ~is_recent)[0]
    first = int(moving[-1]) + 1 if moving.size else 0
    still = poses[first:]
    world = np.array([p.world_m for p in still])
    depth = np.array([p.depth_px for p in still])
    # One median over everything: its cost is mostly in the call.
    packed = middles.median(np.dstack([pictures[first:], world, depth]))
    image_px, world_m, depth_px = packed[:, :2], packed[:, 2:5], packed[:, 5]
    cm_per_px, from_stature = scale_cm_per_px(image_px, world_m, rules.stature_cm)
    if cm_per_px is None:
        return None
    return Reference(
        t_s=still[0].t_s,
        handed=rules.handed,
        image_px=image_px,
        depth_px=depth_px,
        world_m=world_m,
        cm_per_px=cm_per_px,
        scale_from_stature=from_stature,
        outline=median_outline([p.outline for p in still]),
        trunk_deg=median_trunk([p.trunk_deg for p in still]),
        lost=None if lost is None else int(lost is Landmark.RIGHT_WRIST),
    )


def median_trunk(read: list[FloatArray | None]) -> FloatArray | None:
    """Return the median of what the trunk's picture said; None if it mostly was not read."""
    there = [one for one in read if one is not None]
    if not there or 2 * len(there) <= len(read):
        return None
    return middles.median(np.array(there))


def _mostly_together(pictures: FloatArray, rules: SetupRules) -> bool:
    """Tell whether the wrists are as near as on a club in half the pictures (T, 33, 2) or more.

    Not in all of them: where one hand hides the other its wrist jumps.
    """
    wrists = pictures[:, Landmark.LEFT_WRIST] - pictures[:, Landmark.RIGHT_WRIST]
    apart = np.linalg.norm(wrists, axis=1)
    width, _ = front_px(pictures[-1])
    return 2 * int(np.count_nonzero(apart < rules.hands_apart_sw * width)) >= len(pictures)


def _spread(points: FloatArray) -> FloatArray:
    """Return the size (K,) of the box that holds most of each of K points over time.

    The outermost tenth at each end is left out: single jumps of the pose model are no movement.
    """
    ordered = np.sort(points, axis=0)
    across = middles.share(ordered, 0.9) - middles.share(ordered, 0.1)
    size: FloatArray = np.hypot(across[:, 0], across[:, 1])
    return size


def _lost_wrist(pictures: FloatArray, cm_per_px: float, rules: SetupRules) -> Landmark | None:
    """Return the wrist that the pose model cannot find in pictures (T, 33, 2); None: both found.

    Both hands hold one club. Where one hides the other, or is as dark as what is behind it, the
    pose model puts it here and there while the other keeps still: so much says that a hand is
    hidden, not that it moves.
    """
    tracks = pictures[:, [Landmark.LEFT_WRIST, Landmark.RIGHT_WRIST]] * cm_per_px
    spread = _spread(tracks)
    lost = int(np.argmax(spread))
    if spread[1 - lost] > rules.hands_spread_cm or spread[lost] < 2 * rules.hands_spread_cm:
        return None
    return (Landmark.LEFT_WRIST, Landmark.RIGHT_WRIST)[lost] if _flickers(tracks[:, lost]) else None


def _both_at_one(pictures: FloatArray, lost: Landmark) -> FloatArray:
    """Return the pictures with a lost wrist where the other is, the hand's points along with it.

    In pictures that show the two together it is left where it was seen.
    """
    found, hand = _OTHER_WRIST[lost], _HANDS[lost]
    kept: FloatArray = pictures.copy()
    width = np.abs(pictures[:, Landmark.LEFT_SHOULDER, 0] - pictures[:, Landmark.RIGHT_SHOULDER, 0])
    offset = pictures[:, found] - pictures[:, lost]
    offset[np.linalg.norm(offset, axis=1) < FOUND_SW * width] = 0.0
    kept[:, hand] += offset[:, None]
    return kept


def _flickers(track_cm: FloatArray) -> bool:
    """Tell whether a point's steps (T, 2) undo one another, picture by picture: no hand does so.

    The correlation of each step with the next: near 1 for whatever moves, -0.5 for chance about
    one place (the autocorrelation of a differenced white noise), -0.1 to -0.3 seen of lost wrists.
    """
    steps = np.diff(track_cm, axis=0)
    size = float(np.sum(steps**2))
    return size > 0 and float(np.sum(steps[1:] * steps[:-1])) < FLICKER * size


def _stays_about(track_cm: FloatArray, rules: SetupRules) -> bool:
    """Tell whether hands seen to wander (T, 2) only flicker about one place."""
    half = len(track_cm) // 2
    before, after = np.median(track_cm[:half], axis=0), np.median(track_cm[half:], axis=0)
    spread = float(_spread(track_cm[:, None])[0])
    # Hands that go so slowly that noise hides it differ by half their way.
    return (
        _flickers(track_cm)
        and float(np.linalg.norm(after - before)) <= rules.hands_spread_cm / 2
        and spread <= FLICKER_SPREADS * rules.hands_spread_cm
    )


def looks_like_address(pose: Pose, rules: SetupRules) -> bool:
    """Tell whether the hands are together, low and in front of a body that faces the camera."""
    points = pose.image_px
    shoulders, hips = geo.middle(points, "shoulder"), geo.middle(points, "hip")
    width, torso = front_px(points)
    hands, knees = geo.middle(points, "wrist"), geo.middle(points, "knee")
    apart = float(np.linalg.norm(points[Landmark.LEFT_WRIST] - points[Landmark.RIGHT_WRIST]))
    return bool(
        torso > 0
        and width > 0.35 * torso
        and apart < rules.hands_apart_sw * width
        and abs(hands[0] - hips[0]) < rules.hands_aside_sw * width
        and shoulders[1] + 0.6 * torso < hands[1] < knees[1] + 0.15 * torso
    )


def front_px(image_px: FloatArray) -> tuple[float, float]:
    """Return (the shoulders' width, the trunk's height) in the picture of points (33, 2).

    The width is negative for a body seen from behind: who faces the camera has the left shoulder
    at the picture's right. The pose model sometimes takes the front for the back, with left and
    right exchanged: nothing could be read then.
    """
    width = image_px[Landmark.LEFT_SHOULDER, 0] - image_px[Landmark.RIGHT_SHOULDER, 0]
    torso = geo.middle(image_px, "hip")[1] - geo.middle(image_px, "shoulder")[1]
    return float(width), float(torso)


def seen_from_behind(pose: Pose) -> bool:
    """Tell whether the left shoulder is clearly at the picture's left: a back, or taken for one."""
    width, torso = front_px(pose.image_px)
    return bool(torso > 0 and width < -0.35 * torso)


def scale_cm_per_px(
    image_px: FloatArray, world_m: FloatArray, stature_cm: float | None
) -> tuple[float | None, bool]:
    """Return (centimetres a pixel spans at the player, whether it came from the stature).

    The legs are the ruler, because at address the trunk leans toward the camera and the legs
    hardly do: with a stature, hip to ankle is ``LEG_OF_STATURE`` of it; without one it is as
    long as the pose model's world points say (0.965 of truth, deviation 0.07, on the same
    people). (None, False) when the legs cannot be read.
    """
    legs_px = _leg_length(image_px)
    if not legs_px > 1:
        return None, False
    if stature_cm is not None:
        return LEG_SEEN * LEG_OF_STATURE * stature_cm / legs_px, True
    legs_cm = 100.0 * _leg_length(world_m[:, :2])
    if not 20.0 < legs_cm < 150.0:
        return None, False
    return legs_cm / legs_px, False


def _leg_length(points: FloatArray) -> float:
    """Return the mean length of the two legs, hip to knee to ankle."""
    left_hip, right_hip, left_knee, right_knee, left_ankle, right_ankle = points[_LEGS].tolist()
    left = math.dist(left_hip, left_knee) + math.dist(left_knee, left_ankle)
    right = math.dist(right_hip, right_knee) + math.dist(right_knee, right_ankle)
    return (left + right) / 2
