"""Target and tolerances by steps, never over what is comfortable and never after pain."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trainer.core import own_rep
from trainer.core.adjust import LIMITS, Part, adjusted, contradiction, now_words
from trainer.core.rules import CueRules, OwnRep, Rules
from trainer.settings_values import RANGES as SETTINGS


def test_the_limits_are_those_of_the_settings():
    assert {part.value: limits for part, limits in LIMITS.items()} == {
        part.value: SETTINGS[part.value] for part in Part
    }


@pytest.mark.parametrize(
    ("part", "up", "down"),
    [
        (Part.TARGET, "Target of the turn 86°", "Target of the turn 84°"),
        (Part.BAND, "Band round the target ±6°", "Band round the target ±4°"),
        (Part.HEAD, "Head tolerance ±5.5 cm", "Head tolerance ±4.5 cm"),
        (Part.HIPS, "Hip tolerance ±4.5 cm", "Hip tolerance ±3.5 cm"),
    ],
)
def test_each_part_moves_by_its_step_and_says_what_it_is_now(part, up, down):
    assert adjusted(Rules(), part, 1)[1] == up
    rules, words = adjusted(Rules(), part, -1)
    assert words == down == now_words(rules, part)
    others = {p: getattr(rules.cues, p.value) for p in Part if p is not part}
    assert others == {p: getattr(CueRules(), p.value) for p in Part if p is not part}


def test_a_value_between_steps_goes_to_the_next_whole_one():
    rules = Rules(cues=CueRules(target_deg=84.3, head_tol_cm=4.2))
    assert adjusted(rules, Part.TARGET, 1)[0].cues.target_deg == 85.0
    assert adjusted(rules, Part.TARGET, -1)[0].cues.target_deg == 84.0
    assert adjusted(rules, Part.HEAD, 1)[0].cues.head_tol_cm == 4.5
    assert adjusted(rules, Part.HEAD, -1)[0].cues.head_tol_cm == 4.0


@pytest.mark.parametrize("part", list(Part))
@pytest.mark.parametrize("way", [1, -1])
def test_it_ends_at_the_limit_and_says_so(part, way):
    rules = Rules()
    for _ in range(200):
        rules, words = adjusted(rules, part, way)
    assert getattr(rules.cues, part.value) == LIMITS[part][0 if way < 0 else 1]
    assert words.endswith("it goes no higher" if way > 0 else "it goes no lower")


@given(
    comfort_deg=st.floats(20.0, 110.0),
    target_deg=st.floats(45.0, 110.0),
    ways=st.lists(st.sampled_from([1, -1]), max_size=40),
)
def test_no_steps_ask_for_more_than_five_degrees_over_the_comfortable_maximum(
    comfort_deg, target_deg, ways
):
    """5 degrees: the product's own rule, so that no key asks for a turn that may hurt."""
    rules = Rules(comfort_deg=comfort_deg, cues=CueRules(target_deg=target_deg))
    for way in ways:
        rules, _ = adjusted(rules, Part.TARGET, way)
        assert own_rep.cue_rules(rules).target_deg <= comfort_deg + 5.0 + 1e-9


def test_down_from_a_target_that_the_comfortable_maximum_holds_begins_at_what_is_in_force():
    rules = Rules(comfort_deg=70.0, cues=CueRules(target_deg=95.0))
    rules, words = adjusted(rules, Part.TARGET, -1)
    assert (rules.cues.target_deg, words) == (74.0, "Target of the turn 74°")


def test_after_pain_the_target_does_not_move_and_tolerances_do():
    rules = Rules(pain=True)
    assert adjusted(rules, Part.TARGET, 1) == (rules, "Pain marked: no turn is asked for")
    assert adjusted(rules, Part.HEAD, 1)[0].cues.head_tol_cm == 5.5


def test_a_reference_in_use_is_not_moved_by_hand():
    rules = Rules(own=OwnRep(turn_deg=80.0), cues=CueRules(own_top=True))
    same, words = adjusted(rules, Part.TARGET, 1)
    assert same is rules
    assert "O goes back" in words


def test_what_contradicts_itself_is_named():
    rules = Rules(comfort_deg=70.0, cues=CueRules(target_deg=95.0))
    assert contradiction(rules) == ("Target 95° is over the comfortable maximum: 75° is asked for")
    own = replace(rules, own=OwnRep(turn_deg=90.0), cues=replace(rules.cues, own_top=True))
    assert contradiction(own).startswith("Reference 90°")
    assert contradiction(Rules(comfort_deg=80.0)) == ""
    assert contradiction(Rules()) == ""
