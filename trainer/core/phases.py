"""Readings -> Phase: a table of legal moves and one pure step.

nobody · waiting · setup · takeaway · backswing · top · after, and back to waiting. Every hold is
in seconds, so a slow camera finds the same phases as a fast one; starts that only later
readings can show are back-dated.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from trainer.core.handpath import (
    TAKEAWAY_POWER,
    HandPoint,
    both_away_cm,
    left_instant_s,
    speed_cm_s,
)
from trainer.core.phase_state import REFERENCED, PhaseState, Reading, drop, hold, move
from trainer.core.phase_top import enter_top, give_up_top, leave_top, reversal, top_place
from trainer.core.records import Phase, PhaseChange
from trainer.core.rules import PhaseRules


def step(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    """Advance by one reading; return the new state and the moves decided by it.

    An unread frame is no evidence for anything but the player being gone.
    """
    if not now.seen:
        return _unseen(state, now, rules)
    last_s = state.seen_t_s
    gone = last_s is not None and now.t_s - last_s > rules.lost_s
    if gone and state.phase is not Phase.NOBODY:
        # No pictures came for so long (a stalled camera) that nothing is known of the player.
        left_s = last_s if last_s is not None else now.t_s
        return move(PhaseState(seen_t_s=now.t_s), state.phase, Phase.NOBODY, left_s, now)
    state = replace(state, seen_t_s=now.t_s, unseen_since_s=None)
    if state.phase in REFERENCED and now.hands is not None:
        state = _extend(state, now.hands)
    return _STEPS[state.phase](state, now, rules)


def _unseen(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    if state.phase is Phase.NOBODY:
        return replace(state, held=""), ()
    if state.unseen_since_s is None:
        return replace(state, unseen_since_s=now.t_s, held=""), ()
    since_s = state.unseen_since_s
    if now.t_s - since_s < rules.lost_s:
        return state, ()
    return move(PhaseState(unseen_since_s=since_s), state.phase, Phase.NOBODY, since_s, now)


def _extend(state: PhaseState, hands: HandPoint) -> PhaseState:
    path = (*state.path, hands)
    if state.phase is Phase.SETUP:
        # Enough to back-date a takeaway; at setup nothing older matters.
        oldest_s = hands.t_s - 2.0
        start = 0
        while path[start].t_s < oldest_s:
            start += 1
        path = path[start:]
    speed = speed_cm_s(path) or 0.0
    peak, farthest = state.peak_speed_cm_s, state.farthest
    peak_back = state.peak_back_cm_s
    if state.phase in (Phase.TAKEAWAY, Phase.BACKSWING):
        peak = max(peak, speed)
        if farthest is None or hands.arc_deg > farthest.arc_deg:
            farthest, peak_back = hands, peak
    return replace(
        state, path=path, peak_speed_cm_s=peak, peak_back_cm_s=peak_back, farthest=farthest
    )


def _nobody(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    state, long_enough, since_s = hold(state, "seen", now, rules.found_s)
    if not long_enough:
        return state, ()
    return move(state, Phase.NOBODY, Phase.WAITING, since_s, now)


def _waiting(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    if now.setup_t_s is None:
        return drop(state), ()
    setup_t_s = max(now.setup_t_s, state.since_s)
    fresh = PhaseState(
        phase=Phase.SETUP,
        seen_t_s=state.seen_t_s,
        setup_t_s=setup_t_s,
        wrong_way=state.wrong_way,
    )
    return move(fresh, Phase.WAITING, Phase.SETUP, setup_t_s, now)


def _setup(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    hands = now.hands
    if hands is None:
        return state, ()
    in_place = now.body_moved_cm is None or now.body_moved_cm < rules.body_moved_cm
    toward = hands.arc_deg < -5.0 and _together(now, rules) and in_place
    if toward and hands.arc_deg < rules.wrong_way_arc_deg:
        return _to_waiting(replace(state, wrong_way=True), hands.t_s, now)
    if _is_going_back(hands, now, rules):
        moved_cm = float(np.hypot(hands.lateral_cm, hands.height_cm))
        speed = speed_cm_s(state.path) or 0.0
        if moved_cm > rules.takeaway_sure_cm or (
            moved_cm > rules.takeaway_cm and speed > rules.takeaway_speed_cm_s
        ):
            state, long_enough, since_s = hold(state, "going back", now, rules.takeaway_hold_s)
            if not long_enough:
                return state, ()
            began_s = _takeaway_instant(state, since_s)
            state = replace(state, takeaway_t_s=began_s)
            return move(state, Phase.SETUP, Phase.TAKEAWAY, began_s, now)
    if not toward and _left_address(hands, now, rules):
        state, long_enough, since_s = hold(state, "left address", now, rules.body_moved_hold_s)
        if long_enough:
            return _to_waiting(state, since_s, now)
        return state, ()
    return drop(state), ()


def _takeaway(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    hands = now.hands
    if hands is None:
        return state, ()
    gone = _not_a_swing(state, now, rules)
    if gone is not None:
        return gone
    if hands.arc_deg >= rules.backswing_arc_deg:
        state = replace(state, backswing_t_s=hands.t_s, wrong_way=False)
        return move(state, Phase.TAKEAWAY, Phase.BACKSWING, hands.t_s, now)
    moved_cm = float(np.hypot(hands.lateral_cm, hands.height_cm))
    if moved_cm < rules.takeaway_cm * 0.75:
        return _back_to_setup(state, now)
    if now.setup_t_s is not None and moved_cm < rules.takeaway_sure_cm:
        # Still again near where the hands were: the player settled anew, this is no swing.
        return _back_to_setup(state, now)
    return drop(state), ()


def _backswing(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    hands = now.hands
    if hands is None:
        return state, ()
    gone = _not_a_swing(state, now, rules)
    if gone is not None:
        return gone
    turn = state.farthest or hands
    back_deg = turn.arc_deg - hands.arc_deg
    has_turned = back_deg > rules.reversal_deg and both_away_cm(turn, hands) > rules.leave_cm
    speed = speed_cm_s(state.path)
    if has_turned and (_is_high(turn, rules) or _is_short_top(state, turn, speed, rules)):
        return reversal(state, now)
    if hands.arc_deg < rules.returned_arc_deg:
        if _was_high(state, rules):
            # One wrist was lost at the top and is seen there still: it never left.
            return reversal(state, now)
        return _to_waiting(state, hands.t_s, now)
    began_s = state.takeaway_t_s if state.takeaway_t_s is not None else state.since_s
    if now.t_s - began_s > rules.swing_s:
        return _to_waiting(state, hands.t_s, now)
    slow = max(rules.top_speed_cm_s, rules.top_speed_of_peak * state.peak_speed_cm_s)
    if _is_high(hands, rules) and speed is not None:
        hold_s = (
            rules.high_top_hold_s if hands.level >= rules.high_top_height else rules.low_top_hold_s
        )
        if speed < slow:
            state, long_enough, _ = hold(state, "stopped high", now, hold_s)
            if long_enough:
                return enter_top(state, now)
            return state, ()
    return drop(state), ()


def _top(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    hands = now.hands
    if hands is None or state.top_t_s is None:
        return state, ()
    place = top_place(state)
    left_cm = both_away_cm(place, hands)
    going_on = hands.arc_deg - place.arc_deg
    if going_on > rules.go_on_deg and left_cm > 0.5 * rules.leave_cm:
        # The hands go on: that was a stop on the way.
        state = replace(state, top_t_s=None)
        return move(state, Phase.TOP, Phase.BACKSWING, hands.t_s, now)
    if going_on < 0 and (left_cm > rules.leave_cm or hands.arc_deg < rules.returned_arc_deg):
        return leave_top(state, now)
    if now.t_s - state.since_s > rules.swing_s:
        return give_up_top(state, now)
    return drop(state), ()


def _after(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    hands = now.hands
    if hands is None:
        return state, ()
    if now.t_s - state.since_s > rules.after_max_s:
        return _to_waiting(state, hands.t_s, now)
    speed = speed_cm_s(state.path)
    if hands.level < 0.6 and speed is not None and speed < rules.after_speed_cm_s:
        state, long_enough, since_s = hold(state, "hands low", now, rules.after_s)
        if long_enough:
            return _to_waiting(state, since_s, now)
        return state, ()
    return drop(state), ()


_STEPS: Final = {
    Phase.NOBODY: _nobody,
    Phase.WAITING: _waiting,
    Phase.SETUP: _setup,
    Phase.TAKEAWAY: _takeaway,
    Phase.BACKSWING: _backswing,
    Phase.TOP: _top,
    Phase.AFTER: _after,
}


def _is_high(hands: HandPoint, rules: PhaseRules) -> bool:
    return hands.arc_deg >= 75.0 and hands.level >= rules.low_top_height


def _was_high(state: PhaseState, rules: PhaseRules) -> bool:
    """Tell whether the hands of this backswing were high for longer than a jump of the points."""
    high = [point.t_s for point in state.path if _is_high(point, rules)]
    return len(high) > 2 and high[-1] - high[0] >= rules.high_top_hold_s


def _is_short_top(
    state: PhaseState, turn: HandPoint, speed: float | None, rules: PhaseRules
) -> bool:
    """Tell whether hands that turned back lower down have made a short backswing.

    A practice half-turn comes back as it went; a swing comes down much faster.
    """
    return (
        speed is not None
        and turn.level >= rules.short_top_height
        and turn.arc_deg >= rules.short_top_arc_deg
        and speed > rules.short_top_speed * state.peak_back_cm_s
    )


def _is_going_back(hands: HandPoint, now: Reading, rules: PhaseRules) -> bool:
    """Tell whether the hands go back: together, to the trail side, not down, body in place."""
    return (
        hands.lateral_cm > 0.5 * rules.takeaway_cm
        and hands.height_cm > -0.6 * hands.lateral_cm
        and hands.height_cm < 2.0 * hands.lateral_cm
        and _together(now, rules)
        and (now.body_moved_cm is None or now.body_moved_cm < rules.body_moved_cm)
    )


def _together(now: Reading, rules: PhaseRules) -> bool:
    return now.hands_apart_cm is None or now.hands_apart_cm < rules.hands_apart_cm


def _left_address(hands: HandPoint, now: Reading, rules: PhaseRules) -> bool:
    return (
        not _together(now, rules)
        or (now.body_moved_cm is not None and now.body_moved_cm > rules.body_moved_cm)
        or float(np.hypot(hands.lateral_cm, hands.height_cm)) > 20.0
    )


def _not_a_swing(
    state: PhaseState, now: Reading, rules: PhaseRules
) -> tuple[PhaseState, tuple[PhaseChange, ...]] | None:
    """Return the move to waiting once the hands are apart or the player walks; else None.

    High in the swing one wrist hides the other and the pose model puts it anywhere, so hands
    that seem apart count in the takeaway only.
    """
    walked = now.body_moved_cm is not None and now.body_moved_cm > rules.walked_off_cm
    apart = state.phase is Phase.TAKEAWAY and not _together(now, rules)
    if not apart and not walked:
        return None
    state, long_enough, since_s = hold(state, "no swing", now, rules.hands_apart_hold_s)
    if long_enough:
        return _to_waiting(state, since_s, now)
    return state, ()


def _to_waiting(
    state: PhaseState, t_s: float, now: Reading
) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    fresh = PhaseState(phase=Phase.WAITING, seen_t_s=state.seen_t_s, wrong_way=state.wrong_way)
    return move(fresh, state.phase, Phase.WAITING, t_s, now)


def _back_to_setup(state: PhaseState, now: Reading) -> tuple[PhaseState, tuple[PhaseChange, ...]]:
    fresh = PhaseState(
        phase=Phase.SETUP,
        seen_t_s=state.seen_t_s,
        setup_t_s=state.setup_t_s,
        wrong_way=state.wrong_way,
    )
    return move(fresh, state.phase, Phase.SETUP, now.t_s, now)


def _takeaway_instant(state: PhaseState, since_s: float) -> float:
    address = HandPoint(t_s=since_s, lateral_cm=0.0, height_cm=0.0, arc_deg=0.0, level=0.0)
    instant = left_instant_s(state.path, address, TAKEAWAY_POWER)
    if instant is None:
        return since_s
    return float(np.clip(instant, state.since_s, since_s))
