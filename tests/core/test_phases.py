"""When the phases come: the same times at any frame rate, and the times of the script."""

from functools import lru_cache

import numpy as np
import pytest
from golfer import SETUP, TOP, Body, Script, View, play, poses, rep_script
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.core.handpath import SPEED_SPAN_S, HandPoint
from trainer.core.phase_state import PhaseState, Reading
from trainer.core.phases import step
from trainer.core.records import Handed, Phase
from trainer.core.rules import PhaseRules

ORDER = [Phase.WAITING, Phase.SETUP, Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP, Phase.AFTER]
EXACT_HZ = 240


def walk_in_and_swing(back_s, hold_s, down_s):
    script = Script(Body(walk_cm=150)).move(SETUP, 1.5).hold(1.5).move(TOP, back_s)
    if hold_s:
        script.hold(hold_s)
    return script.move(SETUP, down_s).hold(0.2)


def phase_times(played):
    """Return the begin of each phase of the one rep; the top's ends as the rep has them."""
    assert played.phases[: len(ORDER)] == ORDER
    times = {change.phase: change.t_s for change in played.changes[: len(ORDER)]}
    return times | {"arrived": played.rep.top_t_s, "left": played.rep.top_end_t_s}


@lru_cache
def exact(*swing):
    return phase_times(play(walk_in_and_swing(*swing), View(hz=EXACT_HZ)))


@settings(max_examples=20, deadline=None)
@given(
    hz=st.integers(15, 120),
    offset=st.floats(0, 1),
    swing=st.sampled_from([(0.8, 0.0, 0.4), (1.0, 0.4, 0.5), (2.0, 0.8, 1.0)]),
)
def test_phases_come_at_the_same_time_at_any_frame_rate(hz, offset, swing):
    script = walk_in_and_swing(*swing)
    shift_s = offset / hz  # where the first picture falls between two of the fast camera
    script.keys = [(max(0.0, t - shift_s), body) for t, body in script.keys]
    seen = phase_times(play(script, View(hz=hz)))
    for phase, t_s in exact(*swing).items():
        # Evidence is seen up to one frame late, a hold ends up to one frame late, and the span
        # over which speed is read is rounded up to a whole frame: three frames, here and for the
        # fast camera. An instant read from a line through a stretch of the path moves with the
        # ends of the stretch, by up to a tenth of the 0.2 s that the slowest of these takes.
        tolerance_s = 3 / hz + 3 / EXACT_HZ + 0.02
        assert seen[phase] + shift_s == pytest.approx(t_s, abs=tolerance_s), phase


@pytest.mark.parametrize("hz", [15, 30, 60, 120])
@pytest.mark.parametrize("back_s", [0.7, 1.0, 1.5])
@pytest.mark.parametrize("hold_s", [0.0, 0.5])
def test_the_times_of_a_full_speed_swing_are_those_of_the_script(hz, back_s, hold_s):
    for handed in Handed:
        script, (takeaway_s, top_s, end_s) = rep_script(back_s=back_s, hold_s=hold_s, still_s=1.5)
        for noise_px in (0.0, 0.7):
            view = View(hz=hz, handed=handed, noise_px=noise_px, seed=hz)
            rep = play(script, view).rep
            # One picture at 30 a second is 0.033 s: the takeaway is hidden below the noise, so
            # it may be two such pictures off, the ends of the top one and a half.
            assert rep.takeaway_t_s == pytest.approx(takeaway_s, abs=0.067)
            assert rep.top_t_s == pytest.approx(top_s, abs=0.06)
            assert rep.top_end_t_s == pytest.approx(end_s, abs=0.06)
            assert rep.backswing_s == rep.top_t_s - rep.takeaway_t_s


@pytest.mark.parametrize("hz", [240, 480])
def test_a_very_fast_camera_finds_the_same_slow_swing(hz):
    # Speed is read over a stretch of time, so more pictures in it must not switch it off.
    assert 24 / hz <= SPEED_SPAN_S
    script, (*_, end_s) = rep_script(back_s=3.0, hold_s=1.0, down_s=1.0, still_s=1.2)
    fast, slow = play(script, View(hz=hz)), play(script, View(hz=30))
    for one, other in zip(fast.changes, slow.changes, strict=True):
        assert one.phase is other.phase
        assert one.decided_t_s == pytest.approx(other.decided_t_s, abs=0.1)
    rep, slow = fast.rep, slow.rep
    for name in ("takeaway_t_s", "top_t_s", "top_end_t_s"):
        assert getattr(rep, name) == pytest.approx(getattr(slow, name), abs=0.1)
    assert rep.top_end_t_s == pytest.approx(end_s, abs=0.1)


@pytest.mark.parametrize(
    ("lateral", "height", "is_takeaway"),
    [
        (13.0, 2.0, True),
        (10.0, -5.0, True),  # low along the ground
        (6.0, -12.0, False),  # down: reaching for something
        (5.0, 13.0, False),  # up in front of the body
        (1.95, 3.85, False),  # hardly to the side at all
        (-13.0, 2.0, False),  # toward the target
    ],
)
def test_only_hands_going_back_and_not_up_or_down_begin_a_takeaway(lateral, height, is_takeaway):
    state, seen = PhaseState(phase=Phase.SETUP), []
    for i in range(25):
        share = min(1.0, i / 5)
        hands = HandPoint(
            t_s=i / 30,
            lateral_cm=share * lateral,
            height_cm=share * height,
            arc_deg=share * lateral,
            level=-0.3,
        )
        state, changes = step(state, Reading(t_s=i / 30, seen=True, hands=hands), PhaseRules())
        seen += [change.phase for change in changes]
    assert seen == ([Phase.TAKEAWAY] if is_takeaway else [])


@pytest.mark.parametrize(
    ("apart_cm", "body_cm", "phases"),
    [(5.0, 2.0, []), (60.0, 2.0, [Phase.WAITING]), (5.0, 20.0, [Phase.WAITING])],
    ids=["in place", "hands apart", "body moved"],
)
def test_hands_apart_or_a_body_out_of_place_end_the_setup(apart_cm, body_cm, phases):
    state, seen = PhaseState(phase=Phase.SETUP), []
    for i in range(9):
        hands = HandPoint(t_s=i / 30, lateral_cm=0.0, height_cm=0.0, arc_deg=0.0, level=-0.3)
        now = Reading(
            t_s=i / 30, seen=True, hands=hands, hands_apart_cm=apart_cm, body_moved_cm=body_cm
        )
        state, changes = step(state, now, PhaseRules())
        seen += [change.phase for change in changes]
    assert seen == phases


@pytest.mark.parametrize(("high_pictures", "is_rep"), [(12, True), (6, True), (1, False)])
def test_hands_back_at_the_address_after_a_top_are_a_rep_though_one_wrist_never_left(
    high_pictures, is_rep
):
    """The lost wrist is seen at one place; a single jump of both points is no top."""
    arcs = [*range(0, 80, 4), *[95.0] * high_pictures, *range(75, -5, -5)]
    state, seen = PhaseState(phase=Phase.TAKEAWAY, takeaway_t_s=0.0), []
    for i, arc in enumerate(arcs):
        place = 0.8 * float(arc)
        arms = np.zeros((10, 2))
        arms[2], arms[3] = (place, place), (-30.0, 60.0)
        hands = HandPoint(
            t_s=i / 30,
            lateral_cm=place,
            height_cm=place,
            arc_deg=float(arc),
            level=1.2 if arc > 90 else 0.2,
            arms_cm=tuple(arms.ravel().tolist()),
        )
        state, changes = step(state, Reading(t_s=i / 30, seen=True, hands=hands), PhaseRules())
        seen += [change.phase for change in changes]
    assert (Phase.TOP in seen) is is_rep
    assert seen[-1] is (Phase.AFTER if is_rep else Phase.WAITING)


def test_evidence_that_comes_and_goes_never_holds():
    state = PhaseState(phase=Phase.SETUP)
    for i in range(30):
        hands = HandPoint(t_s=i / 10, lateral_cm=0.0, height_cm=0.0, arc_deg=0.0, level=-0.3)
        apart_cm = 60.0 if i % 2 else 5.0
        now = Reading(t_s=i / 10, seen=True, hands=hands, hands_apart_cm=apart_cm)
        state, changes = step(state, now, PhaseRules())
        assert changes == ()


@pytest.mark.parametrize("t_s", [1.0, 0.5])
def test_time_that_does_not_increase_raises(t_s):
    script = Script().hold(1.0)
    pairs = poses(script)
    again = [*pairs, (t_s, pairs[-1][1])]
    with pytest.raises(ValueError, match="time must increase"):
        play(None, pairs=again)
    with pytest.raises(ValueError, match="time must increase"):
        play(None, pairs=[*pairs, (t_s, None)])


@pytest.mark.parametrize("hz", [15, 30, 60, 120])
def test_setup_begins_when_the_player_came_to_rest(hz):
    script = Script(Body(walk_cm=150)).move(SETUP, 1.5).hold(2.0)
    (setup_s,) = play(script, View(hz=hz)).times(Phase.SETUP)
    # The last 2.5 cm of a smooth 150 cm walk of 1.5 s take 0.18 s (10 x^3 = 2.5 / 150), and a
    # tenth of the 0.7 s may lie outside as single jumps of the pose model do.
    assert 1.5 - 0.18 - 0.07 - 2 / hz < setup_s <= 1.5 + 1 / hz
