"""Pose + Reference -> Measures: one small function a measure.

Head and hips come from picture points, never from world points: the world's origin rides on
the hips, so in it the hips never move.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import geometry as geo
from trainer.core.ball_line import back_gap_cm
from trainer.core.estimate import BACK, Prepared, estimate
from trainer.core.handpath import HandPoint
from trainer.core.landmarks import Landmark
from trainer.core.records import Measures, Pose
from trainer.core.setup import Reference
from trainer.core.turn import hip_turn_deg, shoulder_turn_deg

FloatArray = NDArray[np.float64]


def measure(
    pose: Pose | None,
    t_s: float,
    reference: Reference | None,
    ready: Prepared | None = None,
    hands_px: FloatArray | None = None,
    ball_line_cm: float | None = None,
) -> Measures:
    """Return what ``pose`` says against ``reference``; all None without either.

    With an estimator ready for that reference turns, pitch and drifts are its; without one they
    are read straight from the points, which under-reads the turn by far, and no standard error
    is known. ``hands_px`` is where the hands were expected, see ``hand_px``. ``ball_line_cm``
    is where the ball line is (``Rules``); without one no gap to it is read.
    """
    if pose is None or reference is None:
        return Measures(t_s=t_s)
    head_lateral, head_vertical = head_drift_cm(pose, reference)
    hand_lateral, hand_height = hand_place_cm(pose, reference, hands_px)
    back_gap = back_gap_cm(pose, reference, ball_line_cm)
    if ready is not None:
        told = estimate(ready, pose)
        value, se = told.value, told.se
        if back_gap is not None:
            back_gap = back_gap + value[BACK] if BACK in value else None
        return Measures(
            t_s=t_s,
            shoulder_turn_deg=value["shoulder_turn_deg"],
            hip_turn_deg=value["hip_turn_deg"],
            head_lateral_cm=head_lateral + value["head_lateral_cm"],
            head_vertical_cm=head_vertical + value["head_vertical_cm"],
            hip_lateral_cm=hip_drift_cm(pose, reference) + value["hip_lateral_cm"],
            chest_pitch_deg=value["chest_pitch_deg"],
            separation_deg=value["separation_deg"],
            side_tilt_deg=side_tilt_deg(pose, reference) + value["side_tilt_deg"],
            back_gap_cm=back_gap,
            hand_lateral_cm=hand_lateral,
            hand_height_cm=hand_height,
            hand_arc_deg=hand_arc_deg(hand_lateral, hand_height, reference),
            shoulder_turn_se_deg=se["shoulder_turn_deg"],
            hip_turn_se_deg=se["hip_turn_deg"],
            head_lateral_se_cm=se["head_lateral_cm"],
            head_vertical_se_cm=se["head_vertical_cm"],
            hip_lateral_se_cm=se["hip_lateral_cm"],
            chest_pitch_se_deg=se["chest_pitch_deg"],
            separation_se_deg=se["separation_deg"],
            side_tilt_se_deg=se["side_tilt_deg"],
            back_gap_se_cm=None if back_gap is None else se[BACK],
        )
    shoulders, hips = shoulder_turn_deg(pose, reference), hip_turn_deg(pose, reference)
    return Measures(
        t_s=t_s,
        shoulder_turn_deg=shoulders,
        hip_turn_deg=hips,
        separation_deg=None if shoulders is None or hips is None else shoulders - hips,
        side_tilt_deg=side_tilt_deg(pose, reference),
        head_lateral_cm=head_lateral,
        head_vertical_cm=head_vertical,
        hip_lateral_cm=hip_drift_cm(pose, reference),
        chest_pitch_deg=chest_pitch_deg(pose),
        back_gap_cm=back_gap,
        hand_lateral_cm=hand_lateral,
        hand_height_cm=hand_height,
        hand_arc_deg=hand_arc_deg(hand_lateral, hand_height, reference),
    )


#: Where the pose model loses one hand in setup or takeaway, its other points are worse too. Over
#: five rendered reps the root mean square of error over standard error was 1.5.
LOST_HAND_SE: Final = 1.5
_ERRORS: Final = tuple(name for name in Measures.__dataclass_fields__ if "_se_" in name)


def less_sure(now: Measures) -> Measures:
    """Return ``now`` with every standard error ``LOST_HAND_SE`` times as large; None stays None."""
    errors = {name: getattr(now, name) for name in _ERRORS}
    return replace(
        now, **{name: LOST_HAND_SE * se for name, se in errors.items() if se is not None}
    )


def moved_cm(now_px: FloatArray, then_px: FloatArray, reference: Reference) -> tuple[float, float]:
    """Return how far a picture point moved: (lateral, + away from target; vertical, + up)."""
    (now_x, now_y), (then_x, then_y) = now_px.tolist(), then_px.tolist()
    cm_per_px = reference.cm_per_px
    across = (now_x - then_x) * cm_per_px * geo.away_sign(reference.handed)
    return across, -(now_y - then_y) * cm_per_px


def head_drift_cm(pose: Pose, reference: Reference) -> tuple[float, float]:
    """Return the head point's (lateral, vertical) drift in cm from setup."""
    return moved_cm(geo.head_point(pose.image_px), reference.head_px, reference)


def side_tilt_deg(pose: Pose, reference: Reference) -> float:
    """Return how far the line from mid-hip to mid-shoulder leans in the picture.

    Degrees from the picture's upright, + away from the target; not set to zero at setup.
    """
    dx, dy = geo.middle(pose.image_px, "shoulder") - geo.middle(pose.image_px, "hip")
    return math.degrees(math.atan2(dx * geo.away_sign(reference.handed), -dy))


def hip_drift_cm(pose: Pose, reference: Reference) -> float:
    """Return mid-hip's lateral drift in cm from setup, + away from the target."""
    return moved_cm(geo.middle(pose.image_px, "hip"), reference.hip_px, reference)[0]


#: A wrist this far from where the hands were expected counts half as much as one that is there.
HAND_TRUST_CM: Final = 4.0


def hand_px(pose: Pose, reference: Reference, expected_px: FloatArray | None) -> FloatArray:
    """Return where the hands are in the picture, (2,), as their mid-wrist.

    Both hands hold one club, so each wrist tells where the hands are; but high in the swing one
    wrist hides the other, and the pose model then puts it anywhere (30 cm off seen). Each wrist
    therefore counts by how near it lies to ``expected_px``, where the hands so far were headed.
    Without that both count the same.
    """
    # In plain numbers: it runs twice a picture, and for two points each call of numpy's costs more
    # than the sum it does.
    hand_x, hand_y = reference.hand_px.tolist()
    told = []
    for wrist in geo.lead_trail(reference.handed, "wrist"):
        (now_x, now_y), (then_x, then_y) = (
            pose.image_px[wrist].tolist(),
            reference.image_px[wrist].tolist(),
        )
        told.append((now_x - then_x + hand_x, now_y - then_y + hand_y))
    weight = [1.0, 1.0]
    if expected_px is not None:
        place = expected_px.tolist()
        off_cm = [math.dist(one, place) * reference.cm_per_px for one in told]
        weight = [1.0 / (off**2 + HAND_TRUST_CM**2) for off in off_cm]
    (lead_x, lead_y), (trail_x, trail_y) = told
    lead, trail = (share / (weight[0] + weight[1]) for share in weight)
    return np.array([lead * lead_x + trail * trail_x, lead * lead_y + trail * trail_y])


def expected_hand_px(
    path: Sequence[HandPoint], t_s: float, reference: Reference
) -> FloatArray | None:
    """Return where hands that came along ``path`` should be at ``t_s``; None if not known."""
    recent = [point for point in path[-3:] if point.t_s < t_s]
    if not recent or t_s - recent[-1].t_s > 0.3:
        return None
    last = recent[-1]
    lateral, height = last.lateral_cm, last.height_cm
    if len(recent) > 1 and last.t_s - recent[0].t_s > 1e-6:
        ahead = (t_s - last.t_s) / (last.t_s - recent[0].t_s)
        lateral += (last.lateral_cm - recent[0].lateral_cm) * ahead
        height += (last.height_cm - recent[0].height_cm) * ahead
    offset = np.array([lateral * geo.away_sign(reference.handed), -height])
    place: FloatArray = reference.hand_px + offset / reference.cm_per_px
    return place


def hand_place_cm(
    pose: Pose, reference: Reference, expected_px: FloatArray | None = None
) -> tuple[float, float]:
    """Return the hands' (lateral, height) in cm from their place at setup, see ``hand_px``."""
    return moved_cm(hand_px(pose, reference, expected_px), reference.hand_px, reference)


def arms_cm(pose: Pose, reference: Reference) -> tuple[float, ...]:
    """Return (lateral, height) in cm from the hands' place at setup of ten points, one by one.

    Elbows, wrists and three points of each hand, as they are seen: what is hidden is off.
    """
    arms = pose.image_px[Landmark.LEFT_ELBOW : Landmark.RIGHT_THUMB + 1].tolist()
    hand_x, hand_y = reference.hand_px.tolist()
    cm_per_px = reference.cm_per_px
    away = geo.away_sign(reference.handed) * cm_per_px
    flat: list[float] = []
    for x, y in arms:
        flat += ((x - hand_x) * away, (hand_y - y) * cm_per_px)
    return tuple(flat)


def hand_arc_deg(lateral_cm: float, height_cm: float, reference: Reference) -> float:
    """Return how far the hands have swung about mid-shoulder at setup, in degrees.

    0 at setup, + away from the target; about 90 with the lead arm level. Runs on past 180 for
    hands that cross over the head, from -120 to 240.
    """
    (hand_x, hand_y), (chest_x, chest_y) = reference.hand_px.tolist(), reference.chest_px.tolist()
    start_lateral = (hand_x - chest_x) * reference.cm_per_px * geo.away_sign(reference.handed)
    start_down = (hand_y - chest_y) * reference.cm_per_px
    start = math.atan2(start_lateral, start_down)
    now = math.atan2(start_lateral + lateral_cm, start_down - height_cm)
    arc = geo.wrap_deg(math.degrees(now - start))
    return arc + 360.0 if arc < -120.0 else arc


def hand_level(height_cm: float, reference: Reference) -> float:
    """Return how high the hands are on the body at setup: 0 hip line, 1 shoulder line."""
    hands_y = reference.hand_px[1] - height_cm / reference.cm_per_px
    hips_y, shoulders_y = reference.hip_px[1], reference.chest_px[1]
    return float((hips_y - hands_y) / (hips_y - shoulders_y))


def chest_pitch_deg(pose: Pose) -> float | None:
    """Return where the chest faces: degrees above (+) or below (-) the horizontal.

    The chest's normal is shoulder line x trunk line of the world points. None when the two are
    so nearly parallel that no plane is seen.
    """
    world = pose.world_m
    across = world[Landmark.LEFT_SHOULDER] - world[Landmark.RIGHT_SHOULDER]
    along = geo.middle(world, "shoulder") - geo.middle(world, "hip")
    (ax, ay, az), (bx, by, bz) = across.tolist(), along.tolist()
    normal_y = az * bx - ax * bz
    length = math.hypot(ay * bz - az * by, normal_y, ax * by - ay * bx)
    if length < 1e-3:
        return None
    return math.degrees(math.asin(-normal_y / length))
