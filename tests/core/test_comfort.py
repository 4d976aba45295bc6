"""The comfortable maximum: no target lies far above it, whoever chose the target."""

from dataclasses import replace

import pytest
from golfer import TOP, rep_script
from hypothesis import given
from hypothesis import strategies as st
from practising import practise

from trainer.core import own_rep
from trainer.core.practice_rules import TurnOf
from trainer.core.records import CueKind
from trainer.core.rules import CueRules, OwnRep, Rules
from trainer.core.summary import comfort_words


@given(
    target_deg=st.floats(45.0, 110.0),
    comfort_deg=st.floats(20.0, 110.0),
    own_deg=st.none() | st.floats(-20.0, 150.0),
    pain=st.booleans(),
)
def test_no_target_in_force_is_more_than_5_degrees_above_it(target_deg, comfort_deg, own_deg, pain):
    own = None if own_deg is None else OwnRep(turn_deg=own_deg)
    rules = Rules(
        comfort_deg=comfort_deg,
        own=own,
        pain=pain,
        cues=CueRules(target_deg=target_deg, own_top=own is not None),
    )
    in_force = own_rep.cue_rules(rules).target_deg
    assert in_force <= comfort_deg + 5.0
    free = own_rep.cue_rules(replace(rules, comfort_deg=None)).target_deg
    assert in_force == min(free, comfort_deg + 5.0)  # it only lowers


def test_without_one_the_target_is_the_players_choice():
    assert own_rep.cue_rules(Rules()) is Rules().cues or own_rep.cue_rules(Rules()) == Rules().cues


@pytest.mark.parametrize(("comfort_deg", "sounds_deg"), [(None, 85.0), (60.0, 65.0)])
def test_the_turn_sounds_at_the_target_in_force(comfort_deg, sounds_deg):
    script, _ = rep_script(back_s=3.0)
    done = practise(script, rules=Rules(comfort_deg=comfort_deg))
    (step,) = [s for s in done.steps if any(c.kind is CueKind.TURN_REACHED for c in s.told)]
    assert step.measures.shoulder_turn_deg == pytest.approx(sounds_deg, abs=4.0)


def test_a_turn_within_comfort_is_not_called_short():
    script, _ = rep_script(top=replace(TOP, turn_deg=64.0))
    (verdict,) = practise(script, rules=Rules(comfort_deg=60.0)).verdicts
    assert not any("short" in line for line in verdict.lines)
    assert any("short" in line for line in practise(script).verdicts[0].lines)


def test_a_target_that_contradicts_it_is_said():
    assert comfort_words(Rules()) == ""
    said = comfort_words(Rules(comfort_deg=70.0))
    assert said == "Comfortable maximum 70°: no target above 75° (not 85°)"
    assert comfort_words(Rules(comfort_deg=84.0)).endswith("no target above 89°")


def test_a_target_about_the_rib_cage_is_held_by_the_shoulders_comfort():
    chest = CueRules(turn_of=TurnOf.CHEST)
    rules = Rules(comfort_deg=70.0, cues=chest)
    # the line turns 1.11 times as far as the rib cage
    assert own_rep.cue_rules(rules).target_deg == pytest.approx(75.0 / 1.11)
    assert "no target above 68°" in comfort_words(rules)
