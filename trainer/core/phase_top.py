"""When the hands arrive at the top, stay there and leave it."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from trainer.core.handpath import HandPoint, ease_instant_s, turning_instant_s
from trainer.core.phase_state import PhaseState, Reading, move
from trainer.core.records import Phase, PhaseChange
from trainer.core.rules import PhaseRules

#: Arriving at and leaving the top closer together than this cannot be told from a turn.
SHORTEST_REST_S: Final = 0.12


def _swing_start(state: PhaseState) -> int:
    """Return the row of ``state.path`` at which the backswing proper begins."""
    begin_s = state.takeaway_t_s if state.takeaway_t_s is not None else state.since_s
    for row, point in enumerate(state.path):
        if point.t_s >= begin_s:
            return row
    return len(state.path) - 1


def reversal(state: PhaseState, now: Reading) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    """Enter and leave the top at once: the hands have turned and are already on the way down.

    Where the hands clearly rested, arriving and leaving are told apart; else both are the turn.
    """
    start = _swing_start(state)
    row, turned_s = turning_instant_s(state.path[start:])
    row += start
    turn = state.path[row]
    place = (turn.lateral_cm, turn.height_cm)
    before = state.path[start : row + 1]
    arrived_s = ease_instant_s(before, place, arriving=True, reach_cm=12.0)
    left_s = ease_instant_s(state.path[row:], place, arriving=False, reach_cm=12.0)
    if arrived_s is None or left_s is None or left_s - arrived_s < SHORTEST_REST_S:
        arrived_s = left_s = turned_s
    arrived_s = min(max(arrived_s, state.backswing_t_s), now.t_s)
    left_s = min(max(left_s, arrived_s), now.t_s)
    state = replace(state, top_t_s=arrived_s, top_end_t_s=left_s)
    state, first = move(state, Phase.BACKSWING, Phase.TOP, arrived_s, now)
    state, second = move(state, Phase.TOP, Phase.AFTER, left_s, now)
    return state, first + second


def enter_top(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    """Enter the top of hands that have stopped; the arrival is back-dated for the time being."""
    swing = state.path[_swing_start(state) :]
    place = _median_place(swing, now.t_s - rules.high_top_hold_s, now.t_s)
    instant = ease_instant_s(
        swing, (place.lateral_cm, place.height_cm), arriving=True, reach_cm=12.0
    )
    arrived_s = state.held_since_s if instant is None else min(instant, now.t_s)
    arrived_s = max(arrived_s, state.backswing_t_s)
    state = replace(state, top_t_s=arrived_s)
    return move(state, Phase.BACKSWING, Phase.TOP, arrived_s, now)


def leave_top(state: PhaseState, now: Reading) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    """Leave the top; now that the whole of it is known, both its ends are read anew."""
    arrived_s = state.top_t_s if state.top_t_s is not None else now.t_s
    rest = _resting_place(state, arrived_s, now.t_s)
    swing = state.path[_swing_start(state) :]
    begun_s = ease_instant_s(swing, rest, arriving=True, reach_cm=12.0)
    later = tuple(p for p in state.path if p.t_s >= arrived_s)
    left_s = ease_instant_s(later, rest, arriving=False, reach_cm=12.0)
    left_s = now.t_s if left_s is None else min(max(left_s, arrived_s), now.t_s)
    if begun_s is not None:
        arrived_s = min(max(begun_s, state.backswing_t_s), left_s)
    state = replace(state, top_t_s=arrived_s, top_end_t_s=left_s)
    return move(state, Phase.TOP, Phase.AFTER, left_s, now)


def _resting_place(state: PhaseState, from_s: float, to_s: float) -> tuple[float, float]:
    """Return (lateral, height) of the hands at rest: the middle of the slower half of the top."""
    stay = [p for p in state.path if from_s - 1e-9 <= p.t_s <= to_s + 1e-9]
    if len(stay) < 3:
        place = top_place(state)
        return place.lateral_cm, place.height_cm
    places = np.array([(p.lateral_cm, p.height_cm) for p in stay])
    times = np.array([p.t_s for p in stay])
    pace = np.hypot(*np.gradient(places, times, axis=0).T)
    calm = np.convolve(pace, np.ones(5) / 5, mode="same") if len(pace) >= 10 else pace
    slow = places[calm <= np.median(calm)]
    middle = np.median(slow, axis=0)
    return float(middle[0]), float(middle[1])


def top_place(state: PhaseState) -> HandPoint:
    """Return where the hands rest at the top: the median of the first quarter second there."""
    begin_s = state.top_t_s if state.top_t_s is not None else state.since_s
    return _median_place(state.path, begin_s, begin_s + 0.25)


def _median_place(path: tuple[HandPoint, ...], from_s: float, to_s: float) -> HandPoint:
    chosen = [p for p in path if from_s - 1e-9 <= p.t_s <= to_s + 1e-9]
    if not chosen:
        chosen = [min(path, key=lambda p: abs(p.t_s - from_s))]
    values = np.median(
        [(p.t_s, p.lateral_cm, p.height_cm, p.arc_deg, p.level) for p in chosen], axis=0
    )
    return HandPoint(
        t_s=float(values[0]),
        lateral_cm=float(values[1]),
        height_cm=float(values[2]),
        arc_deg=float(values[3]),
        level=float(values[4]),
    )
