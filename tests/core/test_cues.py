"""What sounds, when, and what stays silent."""

from dataclasses import replace

import pytest
from golfer import SETUP, TOP, Script, View, play
from hearing import RULES, series, sounded
from hypothesis import given, settings
from hypothesis import strategies as st
from situations import swing

from trainer.core import cues
from trainer.core.records import CueKind, Handed, Measures, Phase, Side
from trainer.core.rules import CueRules, Rules

AT_ONCE = CueRules(drift_hold_s=0.0)
SWINGING = [Phase.TAKEAWAY, Phase.BACKSWING, Phase.TOP]


def test_pain_silences_the_turn_but_not_the_drifts():
    turn = series("shoulder_turn_deg", [70, 90, 100])
    assert sounded(turn, pain=True)[0] == []
    heard, _ = sounded(series("head_lateral_cm", [0, 9, 9]), pain=True)
    assert [c.kind for c in heard] == [CueKind.HEAD_OUT]


@pytest.mark.parametrize("phase", [p for p in Phase if p not in SWINGING])
def test_outside_the_backswing_nothing_sounds_and_everything_is_armed_again(phase):
    everything = [
        (i / 10, {"shoulder_turn_deg": 99.0, "head_lateral_cm": 20.0, "hip_lateral_cm": 20.0})
        for i in range(5)
    ]
    heard, state = sounded(everything, phase=phase)
    assert heard == []
    assert state == cues.CueState()
    _, rung = sounded(everything, phase=Phase.TOP)
    assert rung != cues.CueState()
    assert sounded(everything[:1], phase=phase, state=rung)[1] == cues.CueState()


@pytest.mark.parametrize("phase", SWINGING)
def test_the_turn_and_the_head_count_all_the_way_back(phase):
    both = [(i / 10, {"shoulder_turn_deg": 99.0, "head_lateral_cm": 9.0}) for i in range(3)]
    kinds = {c.kind for c in sounded(both, phase=phase)[0]}
    assert kinds == {CueKind.TURN_REACHED, CueKind.HEAD_OUT}


@pytest.mark.parametrize(
    ("field", "value", "side"),
    [
        ("head_lateral_cm", 8.0, Side.AWAY),
        ("head_lateral_cm", -8.0, Side.TOWARD),
        ("head_vertical_cm", 8.0, Side.UP),
        ("head_vertical_cm", -8.0, Side.DOWN),
    ],
)
def test_a_head_cue_says_where_the_head_went(field, value, side):
    (cue,) = sounded(series(field, [0.0, value, value]))[0]
    assert (cue.kind, cue.side) == (CueKind.HEAD_OUT, side)
    # 8 cm against a tolerance of 5: 0.6 of the way from the limit to twice the limit
    assert cue.strength == pytest.approx(0.6)
    # 5 cm is passed at 5/8 of the step of 0.1 s
    assert cue.t_s == pytest.approx(0.0625)


@pytest.mark.parametrize(("value", "side"), [(6.0, Side.AWAY), (-6.0, Side.TOWARD)])
def test_a_hip_cue_says_where_the_hips_went(value, side):
    (cue,) = sounded(series("hip_lateral_cm", [0.0, value, value]), phase=Phase.TOP)[0]
    assert (cue.kind, cue.side) == (CueKind.HIPS_OUT, side)
    assert cue.strength == pytest.approx(0.5)


def test_the_larger_of_the_heads_drifts_names_the_side():
    values = {"head_lateral_cm": 6.0, "head_vertical_cm": -9.0}
    (cue,) = sounded([(0.0, values), (0.1, values)])[0]
    assert cue.side is Side.DOWN
    assert cue.strength == pytest.approx(0.8)


@pytest.mark.parametrize(("drift", "strength"), [(5.5, 0.1), (7.5, 0.5), (10.0, 1.0), (40.0, 1.0)])
def test_the_strength_is_full_at_twice_the_tolerance(drift, strength):
    (cue,) = sounded(series("head_lateral_cm", [drift, drift]))[0]
    assert cue.strength == pytest.approx(strength)


def test_inside_the_tolerance_all_is_silent():
    assert sounded(series("head_lateral_cm", [0, 4.9, 5.0, 5.0, -5.0]))[0] == []
    assert sounded(series("hip_lateral_cm", [0, 3.9, 4.0, 4.0]), phase=Phase.TOP)[0] == []


def test_a_drift_sounds_again_only_after_it_came_clearly_back():
    # Rearmed at 0.7 of 5 cm = 3.5 cm
    trembling = [6, 6, 4.5, 6, 4.9, 6, 3.6, 6, 6]
    assert len(sounded(series("head_lateral_cm", trembling))[0]) == 1
    back = [6, 6, 3.5, 6, 6, 3.4, 6, 6]
    assert len(sounded(series("head_lateral_cm", back))[0]) == 3


def test_a_drift_must_last_before_it_sounds_and_then_tells_when_it_began():
    flicker = series("head_lateral_cm", [0, 6, 0, 6, 0, 6, 0], step_s=0.02)
    assert sounded(flicker)[0] == []
    lasting = series("head_lateral_cm", [0, 6, 6, 6, 6, 6], step_s=0.02)
    (cue,) = sounded(lasting)[0]
    # Passed at 5/6 of 0.02 s; 0.05 s later is 0.0667 s, so the reading at 0.08 s decides
    assert cue.t_s == pytest.approx(0.02 * 5 / 6)
    assert cue.decided_t_s == pytest.approx(0.08)


def test_an_unread_value_neither_sounds_nor_arms():
    heard, state = sounded(series("head_lateral_cm", [6, 6]))
    assert len(heard) == 1
    heard, state = sounded([(0.3, {}), (0.4, {})], state=state)
    assert heard == []
    heard, _ = sounded(
        [(0.5, {"head_lateral_cm": 6.0}), (0.6, {"head_lateral_cm": 6.0})], state=state
    )
    assert heard == []
    # A hold is broken by what was not read, and no crossing is invented across it.
    heard, _ = sounded(series("head_lateral_cm", [0, 6, None, 6], step_s=0.04))
    assert heard == []
    heard, _ = sounded(series("head_lateral_cm", [0, None, 6], step_s=0.1), AT_ONCE)
    assert [c.t_s for c in heard] == [pytest.approx(0.2)]


def test_an_unread_turn_does_not_sound_twice():
    assert len(sounded(series("shoulder_turn_deg", [90, None, 90, None, 90]))[0]) == 1


def test_hips_may_move_off_early_unless_the_rules_are_strict():
    out = series("hip_lateral_cm", [0, 9, 9, 9])
    assert sounded(out, phase=Phase.BACKSWING)[0] == []
    assert sounded(out, phase=Phase.TAKEAWAY)[0] == []
    assert len(sounded(out, phase=Phase.TOP)[0]) == 1
    strict = CueRules(hips_strict=True)
    assert len(sounded(out, strict, phase=Phase.BACKSWING)[0]) == 1


@pytest.mark.parametrize(("hips", "side"), [(7.0, Side.AWAY), (-7.0, Side.TOWARD)])
def test_hips_are_judged_at_a_top_that_is_already_over(hips, side):
    top = Measures(t_s=2.0, hip_lateral_cm=hips)
    state, (cue,) = cues.at_top(cues.CueState(), top, 2.1, RULES)
    assert (cue.kind, cue.side, cue.t_s, cue.decided_t_s) == (CueKind.HIPS_OUT, side, 2.0, 2.1)
    assert cue.strength == pytest.approx(0.75)
    assert cues.at_top(state, top, 2.2, RULES) == (state, ())


@pytest.mark.parametrize("hips", [None, 0.0, 4.0, -4.0])
def test_hips_in_place_or_unread_are_silent_at_a_quick_top(hips):
    top = Measures(t_s=2.0, hip_lateral_cm=hips)
    assert cues.at_top(cues.CueState(), top, 2.1, RULES) == (cues.CueState(), ())


def kinds(played):
    return [(cue.kind, cue.side) for cue in played.cues]


@pytest.mark.parametrize("handed", list(Handed))
@pytest.mark.parametrize("hold_s", [0.0, 0.6], ids=["quick reversal", "held"])
@pytest.mark.parametrize(
    ("moved", "expected"),
    [
        ({}, []),
        ({"head_cm": 9.0}, [(CueKind.HEAD_OUT, Side.AWAY)]),
        ({"head_cm": -9.0}, [(CueKind.HEAD_OUT, Side.TOWARD)]),
        ({"head_up_cm": 9.0}, [(CueKind.HEAD_OUT, Side.UP)]),
        ({"head_up_cm": -9.0}, [(CueKind.HEAD_OUT, Side.DOWN)]),
        ({"hips_cm": 8.0}, [(CueKind.HIPS_OUT, Side.AWAY)]),
        ({"hips_cm": -8.0}, [(CueKind.HIPS_OUT, Side.TOWARD)]),
    ],
)
def test_one_fault_in_a_swing_gives_one_cue_beside_the_turn(handed, hold_s, moved, expected):
    script = swing(Script(), hold_s=hold_s, top=replace(TOP, **moved)).hold(0.3)
    played = play(script, View(handed=handed))
    heard = kinds(played)
    assert heard.count((CueKind.TURN_REACHED, None)) == 1
    assert [kind for kind in heard if kind[0] is not CueKind.TURN_REACHED] == expected
    # A rep carries the cues that sounded in it.
    assert played.rep.cues == tuple(played.cues)


def test_each_rep_has_its_own_turn_cue():
    script = Script()
    for _ in range(3):
        swing(script)
    assert kinds(play(script.hold(0.3))) == [(CueKind.TURN_REACHED, None)] * 3


def test_a_short_turn_is_silent_and_pain_makes_a_full_one_silent():
    short = swing(Script(), top=replace(TOP, turn_deg=75.0)).hold(0.3)
    assert kinds(play(short)) == []
    assert kinds(play(swing(Script()).hold(0.3), rules=Rules(pain=True))) == []


def test_hips_out_early_and_back_at_the_top_are_allowed_unless_strict():
    early = replace(SETUP, arc_deg=75.0, turn_deg=45.0, hips_cm=8.0)
    script = Script().hold(1.5).move(early, 0.8).move(TOP, 0.8).hold(0.5).move(SETUP, 0.5)
    assert (CueKind.HIPS_OUT, Side.AWAY) not in kinds(play(script))
    strict = Rules(cues=CueRules(hips_strict=True))
    assert (CueKind.HIPS_OUT, Side.AWAY) in kinds(play(script, rules=strict))


@settings(max_examples=12, deadline=None)
@given(
    hz=st.sampled_from([15, 30, 60]),
    noise_px=st.sampled_from([0.0, 1.0]),
    head=st.floats(-12, 12),
    hips=st.floats(-10, 10),
    hold_s=st.sampled_from([0.0, 0.3, 1.0]),
)
def test_no_cue_is_decided_before_the_time_it_stands_for(hz, noise_px, head, hips, hold_s):
    top = replace(TOP, head_cm=head, hips_cm=hips)
    played = play(swing(Script(), hold_s=hold_s, top=top), View(hz=hz, noise_px=noise_px))
    for step in played.steps:
        for cue in step.cues:
            assert cue.t_s <= cue.decided_t_s == step.t_s
            # A turn is known within a reading; a drift within its hold and a reading more;
            # hips at a quick top once the hands are clearly on the way down.
            assert cue.decided_t_s - cue.t_s < 0.35
