"""Practice sessions for tests of the report: what a player might have made, with points to draw."""

import datetime as dt
from dataclasses import replace

import numpy as np

from tests.kept_reps import HERE
from trainer.core.landmarks import LANDMARK_COUNT
from trainer.core.landmarks import Landmark as L
from trainer.core.records import Handed, Measures, Rep
from trainer.store.records import Aim, Curves, KeptPose, KeptRep, KeptSession, Kind, Motion

AIM = Aim(
    target_deg=85.0, turn_band_deg=5.0, turn_confidence=50.0, turn_of="shoulders",
    head_tol_cm=5.0, hip_tol_cm=4.0,
    hips_strict=False, back_gap_low_cm=0.0, back_gap_high_cm=6.0, ball_line_cm=2.0, pain=False,
)  # fmt: skip
#: x right, y up, in cm, a right-hander as the camera sees him at address; made up.
BODY = {
    L.NOSE: (2, 152), L.LEFT_EAR: (8, 155), L.RIGHT_EAR: (-8, 155),
    L.LEFT_SHOULDER: (18, 134), L.RIGHT_SHOULDER: (-18, 131),
    L.LEFT_ELBOW: (14, 106), L.RIGHT_ELBOW: (-13, 105),
    L.LEFT_WRIST: (3, 84), L.RIGHT_WRIST: (-1, 82),
    L.LEFT_HIP: (13, 92), L.RIGHT_HIP: (-13, 92),
    L.LEFT_KNEE: (19, 50), L.RIGHT_KNEE: (-19, 50),
    L.LEFT_ANKLE: (23, 9), L.RIGHT_ANKLE: (-23, 9),
}  # fmt: skip
AT_TOP = {
    L.NOSE: (0, 152), L.LEFT_EAR: (6, 155), L.RIGHT_EAR: (-7, 155),
    L.LEFT_SHOULDER: (2, 130), L.RIGHT_SHOULDER: (-16, 137),
    L.LEFT_ELBOW: (-20, 140), L.RIGHT_ELBOW: (-34, 118),
    L.LEFT_WRIST: (-34, 160), L.RIGHT_WRIST: (-36, 158),
    L.LEFT_HIP: (8, 93), L.RIGHT_HIP: (-12, 93),
    L.LEFT_KNEE: (12, 50), L.RIGHT_KNEE: (-19, 51),
}  # fmt: skip
CM_PER_PX = 0.25


def session(number=1, *, player="Ann", day=dt.date(2026, 5, 31), **given):
    made = KeptSession(
        uid=f"{number:032x}", player=player, kind=Kind.LIVE, source="camera 0", model="standard",
        began=dt.datetime.combine(day, dt.time(18, 30), HERE), model_fitted=True, program="0.1.0",
    )  # fmt: skip
    return replace(made, **given)


def rep(number, of, *, turn=85.0, head=1.0, head_up=0.5, hips=1.0, gap=3.0, se=True, **given):
    """Return a whole rep with these readings; None for one that was not made."""
    told = {"aim": AIM, "good": True, "handed": Handed.RIGHT, **given}

    def pm(value, size):
        return size if se and value is not None else None

    top = Measures(
        t_s=13.6,
        shoulder_turn_deg=turn, shoulder_turn_se_deg=pm(turn, 6.0),
        hip_turn_deg=40.0, hip_turn_se_deg=pm(40.0, 5.0),
        head_lateral_cm=head, head_lateral_se_cm=pm(head, 0.5),
        head_vertical_cm=head_up, head_vertical_se_cm=pm(head_up, 1.0),
        hip_lateral_cm=hips, hip_lateral_se_cm=pm(hips, 0.6),
        back_gap_cm=gap, back_gap_se_cm=pm(gap, 1.0),
        separation_deg=None if turn is None else turn - 40.0, side_tilt_deg=4.0,
    )  # fmt: skip
    return KeptRep(
        session=of,
        ended=of.began + dt.timedelta(seconds=20 * number),
        rep=Rep(
            number=number, setup_t_s=10.5, takeaway_t_s=12.25, top_t_s=13.5, top_end_t_s=13.7,
            complete=True, at_top=top, max_shoulder_turn_deg=turn, max_head_lateral_cm=head,
            max_head_vertical_cm=head_up, max_hip_lateral_cm=hips,
        ),
        stature_cm=178.0,
        words=("Good rep",),
        cm_per_px=CM_PER_PX,
        scale_from_stature=True,
        max_head_lateral_se_cm=pm(head, 0.5),
        max_head_vertical_se_cm=pm(head_up, 1.0),
        max_hip_lateral_se_cm=pm(hips, 0.6),
        **told,
    )  # fmt: skip


def unfinished(number, of, **given):
    return replace(
        rep(number, of, **given),
        good=None,
        rep=Rep(number=number, setup_t_s=10.5, takeaway_t_s=12.25),
    )


def points(body, *, left_handed=False):
    found = np.full((LANDMARK_COUNT, 2), 640.0)
    for row, (x, y) in {**BODY, **body}.items():
        found[row] = (640 + x / CM_PER_PX, 690 - y / CM_PER_PX)
    if left_handed:  # the mirrored body: left and right exchanged
        names = list(L.__members__)
        swapped = [
            int(L[n.replace("LEFT", "@").replace("RIGHT", "LEFT").replace("@", "RIGHT")])
            for n in names
        ]
        found = found[swapped]
        found[:, 0] = 1280 - found[:, 0]
    return found


def motion(kept):
    """Return curves that lead to the rep's readings at its top, and points to draw."""
    t_s = np.round(np.arange(-15, 45) / 30.0, 4)
    share = np.clip(t_s / kept.rep.backswing_s, 0.0, 1.0)
    swing = 0.5 - 0.5 * np.cos(np.pi * share)
    top = kept.rep.at_top
    columns = {
        name: np.round(value * swing, 2)
        for name in ("shoulder_turn_deg", "head_lateral_cm", "hip_lateral_cm")
        if (value := getattr(top, name)) is not None
    }
    left = kept.handed is Handed.LEFT
    poses = [
        KeptPose(
            size_wh=(1280, 720),
            image_px=points(body, left_handed=left),
            visibility=np.ones(LANDMARK_COUNT),
        )
        for body in ({}, AT_TOP)
    ]
    return Motion(curves=Curves(t_s=t_s, columns=columns), setup_pose=poses[0], top_pose=poses[1])


def save(store, *reps):
    for kept in reps:
        store.save(kept, motion(kept) if kept.rep.complete else None)


def practice(of, count=24, *, seed=0, turn=84.0, spread=5.0, **given):
    """Return reps as a player might make them: some short, some swaying, some not measured."""
    rng = np.random.default_rng(seed)
    reps = []
    for number in range(1, count + 1):
        readings = {
            "turn": turn + rng.normal(0, spread),
            "head": rng.normal(2.0, 2.0),
            "head_up": rng.normal(-1.0, 1.5),
            "hips": rng.normal(1.0, 2.5),
            "gap": rng.normal(4.0, 2.5),
        }
        for name in readings:
            if rng.random() < 0.06:
                readings[name] = None
        heard = {"cues_heard": number % 3 != 0}
        reps.append(
            rep(
                number,
                of,
                **{**readings, **heard, "good": [True, False, None][number % 3], **given},
            )
        )
    return reps
