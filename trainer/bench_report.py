"""Times a report over many reps, from a new process to the page on the disk."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Final

import numpy as np

from trainer.core.landmarks import LANDMARK_COUNT
from trainer.core.records import Handed, Measures, Rep
from trainer.core.rules import Rules
from trainer.kept_file import DATA_VARIABLE
from trainer.store.file import FILE_NAME, open_store
from trainer.store.gather import aim_of
from trainer.store.records import Curves, KeptPose, KeptRep, KeptSession, Kind, Motion

SESSIONS: Final = 20
PLAYER: Final = "bench"


def report_s(reps: int, times: int) -> list[float]:
    """Return how many seconds ``trainer report`` took over so many reps, each of ``times``."""
    taken = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _fill(folder / FILE_NAME, reps)
        command = [sys.executable, "-m", "trainer", "report", "--player", PLAYER]
        command += ["--session", "..", "--out", str(folder / "page.html")]
        for _ in range(times):
            begun_s = time.perf_counter()
            subprocess.run(
                command,
                check=True,
                stdout=subprocess.DEVNULL,
                env=os.environ | {DATA_VARIABLE: name},
            )
            taken.append(time.perf_counter() - begun_s)
    return taken


def _fill(path: Path, reps: int) -> None:
    """Make a record of invented reps in twenty sessions, with curves and points."""
    rng = np.random.default_rng(0)
    began = datetime(2026, 1, 1, 18, tzinfo=timezone.utc)
    sessions = [
        KeptSession(
            uid=f"{number:032x}",
            player=PLAYER,
            began=began + timedelta(days=number),
            kind=Kind.LIVE,
            source="camera 0",
            model="standard",
            model_fitted=True,
            program="bench",
        )
        for number in range(SESSIONS)
    ]
    pose = KeptPose(
        size_wh=(1280, 720),
        image_px=rng.uniform(300, 700, (LANDMARK_COUNT, 2)),
        visibility=np.ones(LANDMARK_COUNT),
    )
    t_s = np.arange(-30, 60) / 30.0
    columns = {"shoulder_turn_deg": 45.0 * (t_s + 1.0), "head_lateral_cm": 2.0 * t_s}
    motion = Motion(curves=Curves(t_s=t_s, columns=columns), setup_pose=pose, top_pose=pose)
    with open_store(path, create=True) as store:
        for number in range(reps):
            store.save(_rep(sessions[number * SESSIONS // reps], number + 1, rng), motion)


def _rep(of: KeptSession, number: int, rng: np.random.Generator) -> KeptRep:
    turn, hip_turn, head, up, hips, gap, tilt, pitch = rng.normal(
        (84, 42, 1, 0, 1, 3, 5, -20), (6, 5, 2, 2, 2, 2, 2, 4)
    ).tolist()
    top = Measures(
        t_s=12.0,
        shoulder_turn_deg=turn,
        hip_turn_deg=hip_turn,
        head_lateral_cm=head,
        head_vertical_cm=up,
        hip_lateral_cm=hips,
        back_gap_cm=gap,
        side_tilt_deg=tilt,
        chest_pitch_deg=pitch,
        separation_deg=turn - hip_turn,
        shoulder_turn_se_deg=6.0,
        hip_turn_se_deg=5.0,
        head_lateral_se_cm=0.5,
        head_vertical_se_cm=0.9,
        hip_lateral_se_cm=0.5,
        back_gap_se_cm=1.0,
    )
    rep = Rep(
        number=number,
        setup_t_s=9.0,
        takeaway_t_s=10.0,
        top_t_s=11.0 + float(rng.uniform(0.0, 0.9)),
        top_end_t_s=12.1,
        complete=True,
        at_top=top,
        max_shoulder_turn_deg=turn,
        max_head_lateral_cm=head,
        max_head_vertical_cm=up,
        max_hip_lateral_cm=hips,
    )
    return KeptRep(
        session=of,
        ended=of.began + timedelta(seconds=20 * number),
        rep=rep,
        handed=Handed.RIGHT,
        stature_cm=178.0,
        aim=aim_of(Rules()),
        good=bool(turn > 80.0),
        words=("Good rep",),
        cm_per_px=0.25,
        scale_from_stature=True,
        max_head_lateral_se_cm=0.5,
        max_head_vertical_se_cm=0.9,
        cues_heard=number % 4 != 0,
    )
