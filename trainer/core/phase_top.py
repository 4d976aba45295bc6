"""When the hands arrive at the top, stay there and leave it."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from trainer.core.handpath import (
    AT_PLACE_CM,
    HandPoint,
    arrived_instant_s,
    both_away_cm,
    left_instant_s,
    median_point,
)
from trainer.core.hands_rest import joined_s
from trainer.core.phase_state import PhaseState, Reading, move
from trainer.core.records import Phase, PhaseChange

#: Arriving at and leaving the top closer together than this cannot be told from a turn.
SHORTEST_REST_S: Final = 0.15
#: The pose model shows hands that leave the top this much late: it holds on to where they
#: rested, half hidden. Measured on rendered clips other than those of docs/accuracy.md.
SEEN_LATE_S: Final = 0.035


def reversal(state: PhaseState, now: Reading) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    """Enter and leave the top at once: the hands have turned and are already on the way down."""
    state = _with_ends(state, now)
    arrived_s = state.top_t_s if state.top_t_s is not None else now.t_s
    left_s = state.top_end_t_s if state.top_end_t_s is not None else now.t_s
    state, first = move(state, Phase.BACKSWING, Phase.TOP, arrived_s, now)
    state, second = move(state, Phase.TOP, Phase.AFTER, left_s, now)
    return state, first + second


def enter_top(state: PhaseState, now: Reading) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    """Enter the top of hands that have stopped; the arrival is back-dated for the time being."""
    instant = arrived_instant_s(state.path, _swing_start_s(state), now.t_s)
    arrived_s = state.held_since_s if instant is None else min(instant, now.t_s)
    arrived_s = max(arrived_s, state.backswing_t_s)
    state = replace(state, top_t_s=arrived_s)
    return move(state, Phase.BACKSWING, Phase.TOP, arrived_s, now)


def leave_top(state: PhaseState, now: Reading) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    """Leave the top; now that the whole of it is known, both its ends are read anew."""
    return _leave(_with_ends(state, now), now)


def give_up_top(state: PhaseState, now: Reading) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    """Leave a top that does not end; it is taken to end now."""
    return _leave(replace(state, top_end_t_s=now.t_s), now)


def _leave(state: PhaseState, now: Reading) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    left_s = state.top_end_t_s if state.top_end_t_s is not None else now.t_s
    return move(state, Phase.TOP, Phase.AFTER, left_s, now)


def _with_ends(state: PhaseState, now: Reading) -> PhaseState:
    """Return the state with both ends of the top, read from both sides of it.

    Hands that begin to come back do so fast, so when they left is the surer instant. Unless they
    clearly rested, it is the turn, and when they arrived too. Where the picture's motion round the
    hands was read, it has its say.
    """
    start_s = _swing_start_s(state)
    swing = tuple(point for point in state.path if point.t_s >= start_s - 1e-9)
    left_s = left_instant_s(swing, _turning_place(swing))
    left_s = now.t_s if left_s is None else left_s - SEEN_LATE_S
    left_s = min(max(left_s, state.backswing_t_s), now.t_s)
    arrived_s = arrived_instant_s(swing, start_s, left_s)
    if arrived_s is None or left_s - arrived_s < SHORTEST_REST_S:
        arrived_s = left_s = joined_s(swing, start_s, left_s)
    else:
        arrived_s = joined_s(swing, start_s, arrived_s)
    arrived_s = min(max(arrived_s, state.backswing_t_s), now.t_s)
    left_s = min(max(left_s, arrived_s), now.t_s)
    return replace(state, top_t_s=arrived_s, top_end_t_s=left_s)


def _swing_start_s(state: PhaseState) -> float:
    return state.takeaway_t_s if state.takeaway_t_s is not None else state.since_s


def _turning_place(path: tuple[HandPoint, ...]) -> HandPoint:
    """Return the place the hands have just turned back from.

    Seen from where they are now, on the way down, it lies farthest off; before it they were on
    their way there, nearer again.
    """
    newest = turn = path[-1]
    farthest_cm = 0.0
    for point in reversed(path):
        off_cm = both_away_cm(point, newest)
        nearer = off_cm < 0.5 * farthest_cm or point.arc_deg < newest.arc_deg
        if nearer and farthest_cm > AT_PLACE_CM:
            break
        if off_cm > farthest_cm:
            turn, farthest_cm = point, off_cm
    return _median_place(path, turn.t_s - 0.1, turn.t_s + 0.05)


def top_place(state: PhaseState) -> HandPoint:
    """Return where the hands rest at the top: the median of the first quarter second there."""
    begin_s = state.top_t_s if state.top_t_s is not None else state.since_s
    return _median_place(state.path, begin_s, begin_s + 0.25)


def _median_place(path: tuple[HandPoint, ...], from_s: float, to_s: float) -> HandPoint:
    chosen = [p for p in path if from_s - 1e-9 <= p.t_s <= to_s + 1e-9]
    if not chosen:
        chosen = [min(path, key=lambda p: abs(p.t_s - from_s))]
    return median_point(chosen)
