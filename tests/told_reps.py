"""Reps as the program gathers them, made for what is said of them afterwards."""

from dataclasses import replace

from trainer.core.records import Measures, Rep


def rep_of(turn_deg, se_deg=None, *, back_gap_cm=None, **changes):
    """Return a rep with this turn at its top, head and hips in place."""
    top = Measures(
        t_s=2.0,
        shoulder_turn_deg=turn_deg,
        shoulder_turn_se_deg=se_deg,
        hip_lateral_cm=0.0,
        back_gap_cm=back_gap_cm,
    )
    rep = Rep(
        number=1,
        setup_t_s=0.0,
        takeaway_t_s=1.0,
        top_t_s=1.9,
        top_end_t_s=2.1,
        complete=True,
        at_top=top,
        max_head_lateral_cm=0.0,
        max_head_vertical_cm=0.0,
        max_hip_lateral_cm=0.0,
    )
    return replace(rep, **changes)
