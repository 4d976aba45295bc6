"""Measures + Phase -> cues, with hysteresis.

Silent inside tolerance: a cue sounds when a limit is passed, and not again until the reading
has come clearly back. The turn sounds once a rep. Hips may move off early; by default what
counts is their place at the top.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from trainer.core.records import Cue, CueKind, Measures, Phase, Side
from trainer.core.rules import CueRules

#: Phases in which a drift or a turn belongs to the backswing.
SWINGING: Final = frozenset({Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP})


@dataclass(frozen=True, slots=True, kw_only=True)
class CueState:
    """What has sounded, and the previous reading for finding the instant of a crossing."""

    turn_sounded: bool = False
    last_turn: tuple[float, float] | None = None  #: (t_s, degrees)
    head: DriftState | None = None
    hips: DriftState | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftState:
    """One drift's history: armed or sounded, and since when it has been outside."""

    sounded: bool = False
    out_since_s: float | None = None
    last: tuple[float, float] | None = None  #: (t_s, excess over tolerance in cm)


def step(
    state: CueState, now: Measures, phase: Phase, rules: CueRules, *, pain: bool
) -> tuple[CueState, tuple[Cue, ...]]:
    """Advance by one reading; return the new state and the cues decided by it.

    Outside the backswing everything is armed again. With ``pain`` nothing asks for turn.
    An unread value neither sounds nor arms.
    """
    if phase not in SWINGING:
        return CueState(), ()
    cues: list[Cue] = []
    if not pain:
        state, turn_cue = _turn(state, now, rules)
        cues.extend(turn_cue)
    drifts = [
        (now.head_lateral_cm, Side.AWAY, Side.TOWARD),
        (now.head_vertical_cm, Side.UP, Side.DOWN),
    ]
    head, head_cue = _drift(
        state.head or DriftState(), CueKind.HEAD_OUT, now.t_s, drifts, rules.head_tol_cm, rules
    )
    hips = state.hips or DriftState()
    hip_cue: tuple[Cue, ...] = ()
    if rules.hips_strict or phase is Phase.TOP:
        hips, hip_cue = _drift(
            hips,
            CueKind.HIPS_OUT,
            now.t_s,
            [(now.hip_lateral_cm, Side.AWAY, Side.TOWARD)],
            rules.hip_tol_cm,
            rules,
        )
    cues.extend(head_cue)
    cues.extend(hip_cue)
    return replace(state, head=head, hips=hips), tuple(cues)


def at_top(
    state: CueState, top: Measures, decided_t_s: float, rules: CueRules
) -> tuple[CueState, tuple[Cue, ...]]:
    """Judge the hips at a top that was already over when it was found (a quick reversal).

    ``top`` is the reading at the top. Nothing is added if the hips have sounded in this rep.
    """
    hips = state.hips or DriftState()
    drift = top.hip_lateral_cm
    if hips.sounded or drift is None or abs(drift) <= rules.hip_tol_cm:
        return state, ()
    cue = Cue(
        kind=CueKind.HIPS_OUT,
        side=Side.AWAY if drift > 0 else Side.TOWARD,
        strength=_strength(abs(drift), rules.hip_tol_cm),
        t_s=top.t_s,
        decided_t_s=decided_t_s,
    )
    return replace(state, hips=replace(hips, sounded=True)), (cue,)


def _turn(state: CueState, now: Measures, rules: CueRules) -> tuple[CueState, tuple[Cue, ...]]:
    turn = now.shoulder_turn_deg
    if turn is None:
        return replace(state, last_turn=None), ()
    last, state = state.last_turn, replace(state, last_turn=(now.t_s, turn))
    if state.turn_sounded or turn < rules.target_deg:
        return state, ()
    t_s = now.t_s
    if last is not None and last[1] < rules.target_deg:
        t_s = _crossing_s(last, (now.t_s, turn), rules.target_deg)
    cue = Cue(kind=CueKind.TURN_REACHED, side=None, strength=1.0, t_s=t_s, decided_t_s=now.t_s)
    return replace(state, turn_sounded=True), (cue,)


def _drift(
    state: DriftState,
    kind: CueKind,
    t_s: float,
    drifts: list[tuple[float | None, Side, Side]],
    tol_cm: float,
    rules: CueRules,
) -> tuple[DriftState, tuple[Cue, ...]]:
    read = [(value, plus, minus) for value, plus, minus in drifts if value is not None]
    if not read:
        return replace(state, last=None, out_since_s=None), ()
    value, plus, minus = max(read, key=lambda drift: abs(drift[0]))
    size = abs(value)
    last, state = state.last, replace(state, last=(t_s, size))
    if size <= tol_cm:
        armed = state.sounded and size > rules.rearm * tol_cm
        return replace(state, sounded=armed, out_since_s=None), ()
    if state.sounded:
        return state, ()
    out_since_s = state.out_since_s
    if out_since_s is None:
        crossed = last is not None and last[1] <= tol_cm
        out_since_s = _crossing_s(last, (t_s, size), tol_cm) if crossed and last else t_s
        state = replace(state, out_since_s=out_since_s)
    if t_s - out_since_s < rules.drift_hold_s - 1e-9:
        return state, ()
    cue = Cue(
        kind=kind,
        side=plus if value > 0 else minus,
        strength=_strength(size, tol_cm),
        t_s=out_since_s,
        decided_t_s=t_s,
    )
    return replace(state, sounded=True), (cue,)


def _strength(size: float, tol: float) -> float:
    """Return 0 at the tolerance, 1 at twice the tolerance or more."""
    return min(1.0, max(0.0, size / tol - 1.0))


def _crossing_s(before: tuple[float, float], after: tuple[float, float], level: float) -> float:
    """Return when a straight line between two (t_s, value) readings passes ``level``."""
    (t0, v0), (t1, v1) = before, after
    return t0 + (t1 - t0) * (level - v0) / (v1 - v0)
