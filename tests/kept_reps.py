"""Kept sessions and reps for tests, with every field told."""

from dataclasses import fields, replace
from datetime import datetime, timedelta, timezone

import numpy as np

from trainer.core.records import Cue, CueKind, Handed, Measures, Rep, Side, Verdict
from trainer.core.rules import OwnRep
from trainer.store.records import Aim, Curves, KeptPose, KeptRep, KeptSession, Kind, Motion
from trainer.store.rows import AT_SETUP

HERE = timezone(timedelta(hours=2))
BEGAN = datetime(2026, 5, 31, 18, 30, 5, 250000, tzinfo=HERE)


def session(number=1, *, player="Ann", began=BEGAN, kind=Kind.LIVE):
    return KeptSession(
        uid=f"{number:032x}",
        player=player,
        began=began,
        kind=kind,
        source="camera 0",
        model="standard",
        model_fitted=True,
        program="0.1.0",
    )


def measures(t_s, names=None, *, scale=1.0):
    """Readings that all differ, so that no two can be exchanged unseen."""
    told = [f.name for f in fields(Measures) if f.name not in ("t_s", "sources")]
    values = {name: scale * (row + 1) * 1.37 for row, name in enumerate(told)}
    return Measures(t_s=t_s, **{n: v for n, v in values.items() if names is None or n in names})


def rep(number=1, *, of=None, ended=None, **given):
    """Return a rep with every field told; ``given`` fields of it replaced."""
    of = session() if of is None else of
    kept = KeptRep(
        session=of,
        ended=of.began + timedelta(seconds=20 * number) if ended is None else ended,
        rep=Rep(
            number=number,
            setup_t_s=10.5,
            takeaway_t_s=12.25,
            top_t_s=13.5,
            top_end_t_s=13.75,
            complete=True,
            at_top=measures(13.625),
            verdict=Verdict(
                kind="free",
                cues="alternate",
                told_pct=50,
                told=True,
                good=False,
                lines=("Head 4 cm away from the target", "turn about 90°, ±6"),
            ),
            max_shoulder_turn_deg=91.5,
            max_head_lateral_cm=4.25,
            max_head_vertical_cm=-2.5,
            max_hip_lateral_cm=3.125,
            cues=(
                Cue(kind=CueKind.TURN_REACHED, side=None, strength=0.2, t_s=13.2, decided_t_s=13.3),
                Cue(
                    kind=CueKind.HEAD_OUT, side=Side.AWAY, strength=0.5, t_s=13.4, decided_t_s=13.41
                ),
            ),
        ),
        handed=Handed.LEFT,
        stature_cm=168.5,
        aim=Aim(
            target_deg=84.0,
            turn_band_deg=5.0,
            turn_confidence=75.0,
            turn_of="shoulders",
            head_tol_cm=4.5,
            hip_tol_cm=3.5,
            hips_strict=True,
            back_gap_low_cm=-1.0,
            back_gap_high_cm=7.0,
            ball_line_cm=-2.5,
            pain=False,
            own=OwnRep(turn_deg=84.0, head_lateral_cm=3.0, hip_lateral_cm=-1.5),
        ),
        good=False,
        words=("Head 4 cm away from the target", "turn about 90°, ±6"),
        cm_per_px=0.31,
        scale_from_stature=True,
        at_setup=measures(12.2, AT_SETUP, scale=0.5),
        max_shoulder_turn_se_deg=5.5,
        max_head_lateral_se_cm=0.9,
        max_head_vertical_se_cm=0.8,
        max_hip_lateral_se_cm=0.7,
        cues_heard=True,
        practice_kind="free",
        schedule='{"cues": "alternate", "told_pct": 50, "told": true}',
        guess="short",
        coach_good=True,
        note="löst, “quoted”\nand on",
    )
    return replace(kept, **given)


def bare(number=1, *, of=None):
    """Return a rep of which nothing is known that need not be."""
    unknown = {f.name: None for f in fields(KeptRep) if f.default is None}
    full = rep(number, of=of)
    return replace(
        full,
        **unknown,
        stature_cm=None,
        good=None,
        words=(),
        cm_per_px=None,
        scale_from_stature=None,
        rep=Rep(number=number, setup_t_s=0.0, takeaway_t_s=0.0),
        aim=replace(full.aim, ball_line_cm=None, own=None),
    )


def motion(readings=40, seed=0):
    rng = np.random.default_rng(seed)
    turn = np.round(np.linspace(0.0, 90.0, readings) + rng.normal(0, 0.5, readings), 2)
    head = np.round(rng.normal(0, 3, readings), 2)
    head[: readings // 2] = np.nan
    points = rng.uniform(0, 1280, (33, 2)).astype("f4").astype(float)
    pose = KeptPose(
        size_wh=(1280, 720),
        image_px=points,
        visibility=rng.uniform(0, 1, 33).astype("f4").astype(float),
    )
    return Motion(
        curves=Curves(
            t_s=np.round(np.arange(readings) / 30.0 - 1.0, 4),
            columns={"shoulder_turn_deg": turn, "head_lateral_cm": head},
        ),
        setup_pose=pose,
        top_pose=replace(pose, image_px=points + 1.0),
    )
