"""Two further kinds of clip for a few people: a rod check, and the same swing again.

The rod check is the program's own (``trainer.core.rod_check``): arms folded over a shaft that lies
across the shoulders, a turn to a true 90 degrees, held. Whether what the camera reads there
tells how it will read a swing is seen by correcting swings of the same person with it. The same
swing made again and again by the same person in the same place shows how well readings repeat,
which is what a reference rep rests on.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from trainer.lab import crowd, exam
from trainer.lab.crowd import Sitter
from trainer.lab.motion import Curves, Events, Motion, Pose, frame_times, sway_a_little
from trainer.lab.scenarios import Clip

#: Wrists 2 cm from the opposite shoulders' fronts and the shaft within 12 degrees of the
#: shoulder line, found by drawing 4000 poses of the arms of one rendered person.
FOLDED: Final = {
    "arm_lift_deg": 64.0,
    "arm_across_deg": 60.0,
    "lead_bend_deg": 104.0,
    "cock_deg": -18.0,
    "forearm_roll_deg": -51.0,
    "flat_wrist": 0.2,
    "elbow_drop_deg": 76.0,
    "trail_free": 1.0,
    "trail_lift_deg": 54.0,
    "trail_out_deg": -59.0,
    "trail_bend_deg": 103.0,
    "lead_protract_deg": 18.0,
    "trail_protract_deg": 18.0,
    "lead_raise_deg": 2.0,
    "trail_raise_deg": 2.0,
}
#: How often the natural swing is made again.
AGAIN: Final = 2


def clips_of(seed: int) -> tuple[Clip, ...]:
    """Return a person's rod check and further swings."""
    one = crowd.sitter(seed)
    rod = exam.clip_of(one, f"rod-{seed}", "arms folded, a true 90 degrees", _rod(one), ())
    again = [
        exam.clip_of(one, f"again{turn}-{seed}", "the same swing again", _again(one, turn), ())
        for turn in range(1, AGAIN + 1)
    ]
    return (rod, *again)


def make_person(seed: int, out_dir: Path, model: Path) -> int:
    """Render a person's further clips and read them, as far as not yet there."""
    for clip in clips_of(seed):
        exam.make_clip(clip, crowd.sitter(seed), out_dir, model)
    return seed


def _rod(one: Sitter) -> Motion:
    rng = np.random.default_rng([one.seed, 83])
    start: Pose = replace(one.address, **FOLDED)
    curves = Curves(start)
    sway_a_little(curves, rng)
    still_s = 1.3
    there_s = still_s + float(rng.uniform(1.0, 1.2))
    curves.move(still_s, there_s, shoulder_turn_deg=90.0, thorax_turn_deg=84.0)
    curves.move(
        still_s,
        there_s,
        hip_turn_deg=float(np.clip(rng.normal(44, 8), 25, 60)),
        head_turn_deg=float(rng.uniform(10, 40)),
        head_drift_cm=float(rng.normal(2, 2)),
        hip_drift_cm=float(rng.normal(0, 2)),
    )
    t_s = frame_times(there_s + 1.3, exam.FPS)
    # The hands are not on a club swung back: the instants say where the start and the hold are.
    rep = Events(setup_s=0.0, takeaway_s=still_s, top_s=there_s, top_end_s=float(t_s[-1]))
    return Motion(t_s, curves.at(t_s), (rep,), one.address)


def _again(one: Sitter, turn: int) -> Motion:
    """Return the natural clip's swing with the scatter of a player who repeats it."""
    swing = exam.natural_swing(np.random.default_rng([one.seed, 81]), exam.speed_of(one.seed))
    rng = np.random.default_rng([one.seed, 84, turn])

    def near(value: float, sd: float) -> float:
        return value + float(rng.normal(0, sd))

    swing = replace(
        swing,
        shoulder_turn_deg=float(np.clip(near(swing.shoulder_turn_deg, 4.0), 30, 117)),
        hip_turn_deg=near(swing.hip_turn_deg, 3.0),
        head_drift_cm=near(swing.head_drift_cm, 0.8),
        hip_drift_cm=near(swing.hip_drift_cm, 0.8),
        arm_lift_deg=near(swing.arm_lift_deg, 3.0),
        backswing_s=swing.backswing_s * float(rng.uniform(0.94, 1.06)),
    )
    return exam.swing_motion(one, swing, rng)
