"""Gathers what is kept of a rep while the mirror or a clip runs, one step at a time.

Called in the pose thread for every step, so it only holds on to what is there anyway; arrays
and medians are made by whoever writes the rep down, in a thread of its own.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trainer.core import own_rep
from trainer.core.records import Measures, Phase, Pose, Rep, Step
from trainer.core.rules import Rules
from trainer.core.setup import Reference
from trainer.core.summary import RepWords
from trainer.store.records import Aim, Curves, KeptPose, KeptRep, KeptSession, Motion
from trainer.store.rows import AT_SETUP, AT_TOP, schedule_text

#: Of the setup so much is kept before the takeaway, and over so much its figures are taken.
BEFORE_S: Final = 1.0
AT_SETUP_S: Final = 0.5
_SWINGING: Final = frozenset({Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP})

_Read = tuple[Measures, Pose | None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FinishedRep:
    """All that a rep leaves behind, as it came; ``worked_out`` makes of it what is kept."""

    session: KeptSession
    ended: datetime
    rep: Rep
    rules: Rules
    verdict: RepWords
    reference: Reference | None
    readings: tuple[_Read, ...]
    cues_heard: bool | None = None

    def worked_out(self) -> tuple[KeptRep, Motion]:
        """Return the rep and its motion as they are kept."""
        rep, reference, told = self.rep, self.reference, self.rep.verdict
        measures = [now for now, _ in self.readings]
        until_s = rep.top_end_t_s if rep.top_end_t_s is not None else float("inf")
        swing = [m for m in measures if rep.takeaway_t_s <= m.t_s <= until_s + 1e-9]
        kept = KeptRep(
            session=self.session,
            ended=self.ended,
            rep=rep,
            handed=self.rules.handed,
            stature_cm=self.rules.stature_cm,
            aim=aim_of(self.rules),
            good=self.verdict.good if told is None else told.good,
            words=self.verdict.lines if told is None else told.lines,
            cm_per_px=None if reference is None else reference.cm_per_px,
            scale_from_stature=None if reference is None else reference.scale_from_stature,
            at_setup=_at_setup(measures, rep.takeaway_t_s),
            max_shoulder_turn_se_deg=_se(swing, rep.max_shoulder_turn_deg, "shoulder_turn", "deg"),
            max_head_lateral_se_cm=_se(swing, rep.max_head_lateral_cm, "head_lateral", "cm"),
            max_head_vertical_se_cm=_se(swing, rep.max_head_vertical_cm, "head_vertical", "cm"),
            max_hip_lateral_se_cm=_se(swing, rep.max_hip_lateral_cm, "hip_lateral", "cm"),
            cues_heard=self.cues_heard and (told is None or told.told),
            practice_kind=None if told is None else told.kind,
            schedule=None if told is None else schedule_text(told),
        )
        curves = curves_of(measures, rep.takeaway_t_s)
        return kept, Motion(
            curves=curves,
            setup_pose=_setup_pose(reference, self.readings),
            top_pose=_top_pose(rep, self.readings),
        )


class Gatherer:
    """Holds on to the readings of the rep under way. Used from one thread."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self._readings: deque[_Read] = deque()
        self._reference: Reference | None = None

    def follow(self, step: Step, reference: Reference | None) -> None:
        """Take one step in, with the setup it was measured against."""
        if reference is not None:
            # Kept beyond the moment in which a player who is lost loses it.
            self._reference = reference
        if step.phase in _SWINGING or step.rep is not None:
            self._readings.append((step.measures, step.pose))
        elif step.phase is Phase.SETUP:
            self._readings.append((step.measures, step.pose))
            while step.t_s - self._readings[0][0].t_s > BEFORE_S:
                self._readings.popleft()
        else:
            self._forget()

    def finished(
        self,
        rep: Rep,
        rules: Rules,
        verdict: RepWords,
        *,
        session: KeptSession,
        ended: datetime,
        cues_heard: bool | None = None,
    ) -> FinishedRep:
        """Return what the rep that has just ended leaves behind, and begin anew."""
        finished = FinishedRep(
            session=session,
            ended=ended,
            rep=rep,
            rules=rules,
            verdict=verdict,
            reference=self._reference,
            readings=tuple(self._readings),
            cues_heard=cues_heard,
        )
        self._forget()
        return finished

    def _forget(self) -> None:
        self._readings.clear()
        self._reference = None


def aim_of(rules: Rules) -> Aim:
    """Return what ``rules`` ask of a rep: the reference rep's target and bands where in use."""
    cues = own_rep.cue_rules(rules)
    return Aim(
        target_deg=cues.target_deg,
        turn_band_deg=cues.turn_band_deg,
        turn_confidence=cues.turn_confidence,
        turn_of=cues.turn_of.value,
        head_tol_cm=cues.head_tol_cm,
        hip_tol_cm=cues.hip_tol_cm,
        hips_strict=cues.hips_strict,
        back_gap_low_cm=cues.back_gap_low_cm,
        back_gap_high_cm=cues.back_gap_high_cm,
        ball_line_cm=rules.ball_line_cm,
        pain=rules.pain,
        own=own_rep.in_use(rules),
    )


def curves_of(readings: list[Measures], takeaway_t_s: float) -> Curves | None:
    """Return the readings as curves counted from the takeaway; None without any."""
    if not readings:
        return None
    columns: dict[str, NDArray[np.float64]] = {}
    for name in AT_TOP:
        values = [getattr(now, name) for now in readings]
        if any(value is not None for value in values):
            columns[name] = np.array([np.nan if v is None else v for v in values])
    t_s = np.array([now.t_s for now in readings]) - takeaway_t_s
    return Curves(t_s=t_s, columns=columns)


def _at_setup(readings: list[Measures], takeaway_t_s: float) -> Measures | None:
    """Return the medians over the last of the setup; None when nothing was read there."""
    near = [m for m in readings if takeaway_t_s - AT_SETUP_S <= m.t_s <= takeaway_t_s]
    found: dict[str, Any] = {}
    for name in AT_SETUP:
        values = [getattr(m, name) for m in near if getattr(m, name) is not None]
        if values:
            found[name] = float(np.median(values))
    return Measures(t_s=near[-1].t_s, **found) if found else None


def _se(swing: list[Measures], largest: float | None, name: str, unit: str) -> float | None:
    """Return the standard error of the reading that was the largest."""
    for now in swing:
        if largest is not None and getattr(now, f"{name}_{unit}") == largest:
            found: float | None = getattr(now, f"{name}_se_{unit}")
            return found
    return None


def _setup_pose(reference: Reference | None, readings: tuple[_Read, ...]) -> KeptPose | None:
    """Return the points everything was measured against, as sure as they were at setup."""
    first = next((pose for _, pose in readings if pose is not None), None)
    if reference is None or first is None:
        return None
    return KeptPose(size_wh=first.size_wh, image_px=reference.image_px, visibility=first.visibility)


def _top_pose(rep: Rep, readings: tuple[_Read, ...]) -> KeptPose | None:
    """Return the points of the reading nearest the middle of the top."""
    if rep.at_top is None:
        return None
    middle_s = rep.at_top.t_s
    seen = [(abs(now.t_s - middle_s), pose) for now, pose in readings if pose is not None]
    if not seen:
        return None
    _, pose = min(seen, key=lambda found: found[0])
    return KeptPose(size_wh=pose.size_wh, image_px=pose.image_px, visibility=pose.visibility)
