"""The reference rep of the day: what it changes in target, bands, cues and words."""

from dataclasses import replace

import pytest
from golfer import SETUP, TOP, Script, play
from hypothesis import given
from hypothesis import strategies as st

from trainer.core import own_rep
from trainer.core.own_rep import beyond, cue_rules, hip_band, judged, own_from, path_band, top_band
from trainer.core.records import CueKind, Measures, Rep
from trainer.core.rules import CueRules, OwnRep, Rules
from trainer.core.summary import aim_words, marked_words, words_for

OWN = OwnRep(
    turn_deg=78.0, head_lateral_cm=6.0, head_vertical_cm=-2.0, hip_lateral_cm=-3.0, back_gap_cm=4.0
)
AIMED = Rules(own=OWN, cues=CueRules(own_top=True))


def rep_with(complete=True, **top):
    return Rep(
        number=1,
        setup_t_s=0.0,
        takeaway_t_s=1.0,
        top_t_s=2.0,
        top_end_t_s=2.5,
        complete=complete,
        at_top=Measures(t_s=2.2, **top),
        max_head_lateral_cm=top.get("head_lateral_cm"),
        max_head_vertical_cm=top.get("head_vertical_cm"),
        max_hip_lateral_cm=top.get("hip_lateral_cm"),
    )


def test_a_reference_is_the_figures_at_the_top_of_a_complete_rep():
    figures = {
        "shoulder_turn_deg": 78.0,
        "head_lateral_cm": 6.0,
        "head_vertical_cm": -2.0,
        "hip_lateral_cm": -3.0,
        "back_gap_cm": 4.0,
    }
    assert own_from(rep_with(**figures), Rules()) == OWN
    assert own_from(rep_with(complete=False, **figures), Rules()) is None
    assert own_from(rep_with(head_lateral_cm=1.0), Rules()) is None
    assert own_from(None, Rules()) is None


def test_it_changes_nothing_until_it_is_wished():
    rules = Rules(own=OWN)
    now = Measures(t_s=0.0, shoulder_turn_deg=80.0, head_lateral_cm=9.0)
    assert cue_rules(rules) is rules.cues
    assert judged(now, rules) is now
    assert own_rep.in_use(Rules(cues=CueRules(own_top=True))) is None


def test_the_target_is_the_players_own_turn():
    assert cue_rules(AIMED).target_deg == 78.0
    wild = replace(AIMED, own=replace(OWN, turn_deg=150.0))
    assert cue_rules(wild).target_deg == own_rep.MOST_DEG


@given(own=st.floats(20, 130), target=st.floats(45, 110))
def test_once_pain_is_marked_no_reference_raises_the_target(own, target):
    rules = Rules(
        own=OwnRep(turn_deg=own), pain=True, cues=CueRules(target_deg=target, own_top=True)
    )
    assert cue_rules(rules).target_deg <= target


def test_the_bands_reach_from_the_setup_to_the_own_top_and_the_tolerance_beyond():
    assert path_band(6.0, 5.0) == (-5.0, 11.0)
    assert path_band(-6.0, 5.0) == (-11.0, 5.0)
    assert path_band(None, 5.0) == (-5.0, 5.0)
    assert top_band(6.0, 5.0) == (1.0, 11.0)
    assert hip_band(OWN, CueRules()) == (-7.0, 1.0)
    assert hip_band(OWN, CueRules(hips_strict=True)) == (-7.0, 4.0)
    assert hip_band(None, CueRules()) == (-4.0, 4.0)


@given(value=st.floats(-30, 30), own=st.floats(-20, 20), tol=st.floats(1, 10))
def test_a_drift_is_out_exactly_where_it_leaves_the_band(value, own, tol):
    for make in (path_band, top_band):
        band = make(own, tol)
        out = not band[0] - 1e-9 <= value <= band[1] + 1e-9
        off = abs(beyond(value, band, tol))
        assert (off > tol + 1e-9) == out or off == pytest.approx(tol, abs=1e-6)
    assert beyond(None, (0.0, 1.0), 1.0) is None


def head_script(cm):
    top = replace(TOP, head_cm=cm)
    return Script().hold(2.0).move(top, 1.0).hold(0.5).move(SETUP, 0.5).hold(1.5)


def kinds(script, rules):
    return [cue.kind for cue in play(script, rules=rules).cues]


def test_a_head_that_goes_where_the_own_rep_went_is_silent():
    own = replace(OWN, head_lateral_cm=8.0, hip_lateral_cm=0.0, turn_deg=85.0)
    aimed = replace(AIMED, own=own)
    assert CueKind.HEAD_OUT in kinds(head_script(7.0), Rules())
    assert CueKind.HEAD_OUT not in kinds(head_script(7.0), aimed)
    assert CueKind.HEAD_OUT in kinds(head_script(13.0), aimed)
    assert CueKind.HEAD_OUT in kinds(head_script(-6.0), aimed)
    assert words_for(play(head_script(7.0), rules=aimed).rep, aimed).good
    said = words_for(play(head_script(14.0), rules=aimed).rep, aimed)
    assert said.headline.endswith("cm further away from the target than in your own rep")


def test_the_tone_of_the_turn_sounds_at_the_own_target():
    low = replace(AIMED, own=OwnRep(turn_deg=60.0))
    script = head_script(0.0)
    (cue,) = [c for c in play(script, rules=low).cues if c.kind is CueKind.TURN_REACHED]
    (usual,) = [c for c in play(script).cues if c.kind is CueKind.TURN_REACHED]
    assert cue.t_s < usual.t_s
    assert CueKind.TURN_REACHED not in kinds(script, replace(low, pain=True))


def test_hips_are_judged_against_the_own_hips_at_the_top():
    own = replace(OWN, turn_deg=85.0, hip_lateral_cm=-6.0)
    aimed = replace(AIMED, own=own)
    top = replace(TOP, hips_cm=-6.0)
    script = Script().hold(2.0).move(top, 1.0).hold(0.5).move(SETUP, 0.5).hold(1.5)
    assert CueKind.HIPS_OUT in kinds(script, Rules())
    assert CueKind.HIPS_OUT not in kinds(script, aimed)
    assert CueKind.HIPS_OUT in kinds(head_script(0.0), aimed)
    assert (
        "than in your own rep" in words_for(play(head_script(0.0), rules=aimed).rep, aimed).headline
    )


def test_a_quick_top_is_judged_the_same_way():
    aimed = replace(AIMED, own=replace(OWN, turn_deg=85.0, hip_lateral_cm=-6.0))
    top = replace(TOP, hips_cm=-6.0)
    script = Script().hold(2.0).move(top, 0.8).move(SETUP, 0.4).hold(1.5)
    assert CueKind.HIPS_OUT not in kinds(script, aimed)


def test_what_a_key_did_is_told_in_words():
    assert "78°" in marked_words(OWN, AIMED)
    assert "Press O" in marked_words(OWN, Rules(own=OWN))
    assert "make a whole rep first" in marked_words(None, Rules())
    assert aim_words(AIMED) == "Target 78° and bands from your own rep"
    assert "T" in aim_words(Rules(cues=CueRules(own_top=True)))
    assert "no turn is asked for" in aim_words(replace(AIMED, pain=True))
    assert aim_words(Rules(own=OWN)) == "Target 85° again, bands round the setup"
