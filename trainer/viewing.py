"""What the window is given to show, out of what the threads left."""

from __future__ import annotations

from statistics import median
from typing import Final

from trainer.bay import Bay
from trainer.core.own_rep import cue_rules, in_use
from trainer.core.records import Handed
from trainer.placing import Placing
from trainer.ports import Look, View
from trainer.report.library import Library
from trainer.shared import Shared

#: How long the answer to a key stands.
ANSWER_S: Final = 5.0


def view_of(
    shared: Shared,
    now_s: float,
    *,
    bay: Bay,
    library: Library | None,
    placing: Placing,
    notices: tuple[str, ...],
    muted: bool,
    dropped: int,
    caution: bool,
    reps_before: int,
    look: Look,
) -> View:
    """Return the view of this moment, ``now_s`` on the mirror's clock."""
    step, frame, rules = shared.step, shared.frame, shared.rules
    answer, said_s = max(shared.answer, bay.said, key=lambda said: said[1])
    answer = answer if now_s - said_s < ANSWER_S else ""
    told = shared.practice is None or shared.practice.verdict
    if shared.last_rep is not None and shared.last_rep.verdict is not None:
        told = told and shared.last_rep.verdict.told
    return View(
        image_rgb=None if frame is None else frame.image_rgb,
        step=step,
        handed_left=rules.handed is Handed.LEFT,
        target_deg=cue_rules(rules).target_deg,
        turn_band_deg=rules.cues.turn_band_deg,
        turn_confidence=rules.cues.turn_confidence,
        turn_hysteresis_deg=rules.cues.turn_hysteresis_deg,
        turn_of=rules.cues.turn_of,
        head_tol_cm=rules.cues.head_tol_cm,
        hip_tol_cm=rules.cues.hip_tol_cm,
        hips_strict=rules.cues.hips_strict,
        reps=reps_before + shared.whole_reps if step is None else step.reps,
        last_rep=shared.last_rep if told else None,
        last_rep_words=shared.verdict_words() if told else (),
        notices=notices,
        pain=rules.pain,
        muted=muted,
        cue_delay_ms=median(shared.delays_ms) if shared.delays_ms else None,
        fps=shared.poses_per_second(),
        dropped=dropped,
        caution=caution,
        answer=answer if library is None else library.answer(now_s) or answer,
        own=in_use(rules),
        ball_line=shared.ball_line,
        rod=shared.rod,
        practice=shared.practice,
        listed=None if library is None else library.listed,
        guide=placing.guide(rules),
        announced=bay.announced(now_s),
        writing=bay.writing,
        looked=bay.looked,
        far=bay.far,
        filming=bay.filming,
        look=look,
    )
