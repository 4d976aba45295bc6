"""Named situations of a practice ground, each a stretch of script that starts from anywhere.

A situation takes a script, adds what the player does and gives the script back, so they can be
strung together in any order. All times are seconds.
"""

from dataclasses import replace

from golfer import SETUP, TOP, Body, Script

LOW = Body(arc_deg=48.0, turn_deg=30.0, hip_turn_deg=15.0)  # hands at hip height
LEVEL = Body(arc_deg=90.0, turn_deg=60.0, hip_turn_deg=30.0)  # lead arm level
HIGH = Body(arc_deg=125.0, turn_deg=80.0, hip_turn_deg=40.0)  # short of the top
HALF = Body(arc_deg=60.0, turn_deg=45.0, hip_turn_deg=20.0)
FINISH = Body(arc_deg=-150.0, turn_deg=-70.0, hip_turn_deg=-60.0)
WRONG = Body(arc_deg=-150.0, turn_deg=-90.0, hip_turn_deg=-45.0)
STEP_S = 0.6  # to come back to address before a situation begins


def stand(script, seconds=1.5):
    """Stand still at address."""
    if script.keys[-1][1] != SETUP:
        script.move(SETUP, STEP_S)
    return script.hold(seconds)


def swing(script, *, back_s=1.0, hold_s=0.0, down_s=0.5, top=TOP):
    """Go back to the top, wait there and come back to address."""
    stand(script).move(top, back_s)
    if hold_s:
        script.hold(hold_s)
    return script.move(SETUP, down_s)


def held_top(script):
    return swing(script, hold_s=1.0)


def swing_through(script):
    stand(script).move(TOP, 0.9).move(SETUP, 0.25).move(FINISH, 0.4).hold(1.5)
    return script.move(SETUP, 1.5)


def waggle(script, times=3):
    stand(script)
    for _ in range(times):
        script.move(Body(arc_deg=12), 0.3).move(SETUP, 0.3)
    return script


def slow_waggle(script):
    """The hands go a good way back, stay a moment and return."""
    return stand(script).move(Body(arc_deg=16), 0.5).hold(0.2).move(SETUP, 0.5)


def settle_anew(script):
    """The player shifts the hands ten centimetres and stands still again."""
    return stand(script).move(Body(hands_shift_cm=8.0), 0.6).hold(1.5)


def walk_in_trail_side(script):
    return script.move(Body(walk_cm=200), 2.0).move(SETUP, 2.0)


def walk_in_target_side(script):
    return script.move(Body(walk_cm=-200), 2.0).move(SETUP, 2.0)


def walk_off_trail_side(script):
    return stand(script).move(Body(walk_cm=200), 2.0)


def walk_off_target_side(script):
    return stand(script).move(Body(walk_cm=-200), 2.0)


def tee_a_ball(script):
    return stand(script).move(Body(bend_cm=45), 1.0).hold(0.6).move(SETUP, 1.0)


def half_turn(script):
    return stand(script).move(HALF, 0.7).move(SETUP, 0.7)


def wave(script):
    return stand(script).move(Body(hand_up_cm=90), 0.5).hold(1.0).move(SETUP, 0.5)


def wave_from_takeaway(script):
    """Begins like a backswing; then one hand leaves the club."""
    waving = replace(HALF, arc_deg=30.0, hand_up_cm=70.0)
    stand(script).move(Body(arc_deg=25.0), 0.6).move(waving, 0.5)
    return script.hold(0.8).move(SETUP, 0.7)


def club_overhead(script):
    """Stretching: both hands straight up over the head and down again."""
    return stand(script).move(Body(hands_up_cm=130), 1.0).hold(1.0).move(SETUP, 1.0)


def checkpoints(script):
    """Slow motion with stops at hip height and with the lead arm level."""
    stand(script).move(LOW, 1.5).hold(1.0).move(LEVEL, 1.2).hold(1.0).move(TOP, 1.5)
    return script.hold(1.5).move(SETUP, 2.0)


def top_then_on(script):
    """A stop that looks like a top, then the hands go on to the real one."""
    return stand(script).move(HIGH, 1.0).hold(0.6).move(TOP, 0.6).hold(0.6).move(SETUP, 0.6)


def quick_second_rep(script):
    """Back at address only just long enough, and away again."""
    return swing(swing(script), back_s=0.9)


def wrong_way(script):
    return stand(script).move(WRONG, 1.0).hold(0.3).move(SETUP, 0.6)


def lost_a_moment_going_back(script):
    """Nobody is read for 0.3 s in the middle of a backswing."""
    stand(script)
    script.gone.append((script.end_s + 0.45, script.end_s + 0.75))
    return script.move(TOP, 1.0).move(SETUP, 0.5)


def lost_at_waiting(script):
    return script.move(Body(walk_cm=80), 0.7).lose(1.5)


def lost_at_setup(script):
    return stand(script).lose(1.5)


def lost_at_takeaway(script):
    return stand(script).move(Body(arc_deg=30), 1.0).lose(1.5)


def lost_going_back(script):
    return stand(script).move(LEVEL, 0.8).lose(1.5)


def lost_at_the_top(script):
    return stand(script).move(TOP, 0.9).hold(0.5).lose(1.5)


def lost_after(script):
    return swing(script, hold_s=0.3).lose(1.5)


SITUATIONS = {
    function.__name__: function
    for function in (
        stand,
        swing,
        held_top,
        swing_through,
        waggle,
        slow_waggle,
        settle_anew,
        walk_in_trail_side,
        walk_in_target_side,
        walk_off_trail_side,
        walk_off_target_side,
        tee_a_ball,
        half_turn,
        wave,
        wave_from_takeaway,
        club_overhead,
        checkpoints,
        top_then_on,
        quick_second_rep,
        wrong_way,
        lost_a_moment_going_back,
        lost_at_waiting,
        lost_at_setup,
        lost_at_takeaway,
        lost_going_back,
        lost_at_the_top,
        lost_after,
    )
}


def script_of(*names, start=SETUP):
    """Return the named situations one after another; the player stands still at the end."""
    script = Script(start)
    for name in names:
        SITUATIONS[name](script)
    return script.hold(1.5)
