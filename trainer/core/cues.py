"""Measures + Phase -> cues, with hysteresis.

Silent inside tolerance: a cue sounds when a limit is passed, and not again until the reading
has come clearly back. The turn sounds once a rep, as soon as it is there with the confidence
asked for. Hips may move off early; by default what counts is their place at the top.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Final

from trainer.core.records import Cue, CueKind, Measures, Phase, Side
from trainer.core.rules import CueRules

#: Phases in which a drift or a turn belongs to the backswing.
SWINGING: Final = frozenset({Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP})

#: Taken for a turn whose standard error is not known, so that none is surer than one whose is. On
#: 83 filmed people, 95 % of the readings over 60 degrees stated less than 15.3.
UNKNOWN_TURN_SE_DEG: Final = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CueState:
    """What has sounded, and the previous reading for finding the instant of a crossing."""

    turn_sounded: bool = False
    turn: TurnState | None = None
    head: DriftState | None = None
    hips: DriftState | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnState:
    """The last turn that was read, and since when it has been at the target."""

    t_s: float
    turn_deg: float
    least_deg: float | None  #: ``least_turn_deg`` of it; None when a picture since had no reading
    there_since_s: float | None = None


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


def least_turn_deg(turn_deg: float, se_deg: float | None, confidence: float) -> float:
    """Return the turn that is truly there, or more, with ``confidence`` (per cent, 50 to 99).

    ``turn_deg`` - z ``se_deg``, z the normal quantile: 0 at 50 %, so the reading itself, 0.67 at
    75 %, 1.64 at 95 %. An unknown ``se_deg`` counts as ``UNKNOWN_TURN_SE_DEG``.

    Raises statistics.StatisticsError for a confidence of 0 or less, 100 or more.
    """
    z = NormalDist().inv_cdf(confidence / 100.0)
    return turn_deg - z * (UNKNOWN_TURN_SE_DEG if se_deg is None else se_deg)


def _turn(state: CueState, now: Measures, rules: CueRules) -> tuple[CueState, tuple[Cue, ...]]:
    turn, before = now.shoulder_turn_deg, state.turn
    if turn is None:
        if before is not None:
            # No crossing is invented over the gap, but what comes after must still be near.
            before = replace(before, least_deg=None, there_since_s=None)
        return replace(state, turn=before), ()
    least = least_turn_deg(turn, now.shoulder_turn_se_deg, rules.turn_confidence)
    since_s = None
    if least >= rules.target_deg:
        since_s = now.t_s
        if before is not None and before.there_since_s is not None:
            since_s = before.there_since_s
        elif before is not None and before.least_deg is not None:
            since_s = _crossing_s(
                (before.t_s, before.least_deg), (now.t_s, least), rules.target_deg
            )
    turned = TurnState(t_s=now.t_s, turn_deg=turn, least_deg=least, there_since_s=since_s)
    state = replace(state, turn=turned)
    if state.turn_sounded or since_s is None or not _can_be(before, now.t_s, turn, rules):
        return state, ()
    if now.t_s - since_s < rules.turn_hold_s - 1e-9:
        return state, ()
    cue = Cue(kind=CueKind.TURN_REACHED, side=None, strength=1.0, t_s=since_s, decided_t_s=now.t_s)
    return replace(state, turn_sounded=True), (cue,)


def _can_be(before: TurnState | None, t_s: float, turn_deg: float, rules: CueRules) -> bool:
    """Return True where a body can have turned that far since the reading before."""
    if before is None:
        return False
    return turn_deg - before.turn_deg <= rules.turn_jump_deg_s * (t_s - before.t_s) + 1e-9


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
    return min(t0 + (t1 - t0) * (level - v0) / (v1 - v0), t1)  # rounding must not pass t1
