"""Clips of the accuracy report as made-up readings with known answers."""

import numpy as np

from trainer.core.records import Measures, Rep
from trainer.lab import exam_cues
from trainer.lab.exam_read import FIELDS, SE_FIELDS, Readings
from trainer.lab.exam_results import TURN
from trainer.lab.motion import minimum_jerk

FPS = 30.0


def made_up(seed, kind, off_deg=0.0, **scene):
    """A clip of 4 s whose turn rises to 90 from 1 to 2 s, read ``off_deg`` off."""
    t_s = np.arange(120) / FPS
    true = np.zeros((120, len(FIELDS)))
    true[:, TURN] = 90 * minimum_jerk(t_s - 1.0)
    said = true.copy()
    said[:, TURN] += off_deg
    at_top = Measures(
        t_s=2.2,
        **dict(zip(FIELDS, said[70], strict=True)),
        **dict.fromkeys(SE_FIELDS, 5.0),
    )
    rep = Rep(
        number=1,
        setup_t_s=0.0,
        takeaway_t_s=1.0,
        top_t_s=2.0 + 1 / FPS,
        top_end_t_s=2.4,
        complete=True,
        at_top=at_top,
        max_shoulder_turn_deg=90 + off_deg,
    )
    known = {
        "seed": seed, "yaw_deg": 2.0, "distance_m": 3.0 + 0.01 * seed, "light": 0.1 * seed,
        "loose_cm": 1.0 + 0.1 * seed, "sleeve": 0.6, "female": float(seed % 2),
        "stature_cm": 170.0 + seed, "handed": "right", "weight": 0.4 + 0.1 * seed,
        "height_m": 1.0 + 0.1 * seed, "size_wh": [960, 540], "place": "bay", "jacket": seed == 1,
        "skirt": False, "camera": {"hfov_deg": 90.0, "distance_m": 3.0},
    }  # fmt: skip
    natural = kind == "natural"
    alone = exam_cues.NO_TURN[seed % 3]
    spans = [{"what": alone, "from_s": 0.2, "to_s": 1.0}] if not natural else []
    scored = (t_s >= 1.0) & (t_s <= 2.4) if natural else t_s > 0.2
    return Readings(
        name=f"{kind}-{seed}",
        kind=kind,
        scene=known | scene,
        t_s=t_s,
        true=true,
        said=said,
        se=np.full_like(true, 5.0),
        points=said,
        no_picture=said,
        straight=true * 0.5,
        width_deg=true[:, TURN] * 0.7,
        no_stature=said,
        unsmoothed=said,
        unsmoothed_se=np.full_like(true, 5.0),
        scored=scored,
        swinging=scored,
        events={"setup_s": 0.0, "takeaway_s": 1.0, "top_s": 2.0, "top_end_s": 2.4},
        spans=spans,
        reps=[rep] if natural else [],
        scale=(0.5, 0.51, 0.48),
        from_behind=False,
        hands_off_cm=np.full(120, 2.0),
    )


def crew(off_deg=0.0, kinds=("natural", "decoupled")):
    return [made_up(seed, kind, off_deg) for seed in range(4) for kind in kinds]
