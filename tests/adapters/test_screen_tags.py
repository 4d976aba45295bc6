"""What the window says of worn tags: titles, captions, the line at the foot."""

from dataclasses import replace

import pytest
from screen_views import make_step, make_view

from trainer.adapters.screen_state import asked_of, turn_state
from trainer.adapters.screen_words import running_line, turn_caption, turn_title
from trainer.core.practice_rules import TurnOf
from trainer.core.records import Measures, Phase, Source

READ = Measures(
    t_s=1.0,
    shoulder_turn_deg=88.0,
    shoulder_turn_se_deg=4.4,
    thorax_turn_deg=79.0,
    thorax_turn_se_deg=1.2,
    chest_extension_deg=27.6,
    chest_extension_se_deg=1.4,
    sources={
        "shoulder_turn_deg": Source.TAG_AND_POSE,
        "thorax_turn_deg": Source.TAG,
        "chest_extension_deg": Source.TAG,
    },
)


def shown(measures=READ, phase=Phase.BACKSWING, **view):
    return make_view(step=make_step(phase=phase, measures=measures), **view)


def test_under_the_turn_stands_what_it_rests_on():
    assert turn_caption(READ, shown()) == "tags and camera ±4°"
    by_chest = shown(turn_of=TurnOf.CHEST)
    assert turn_caption(asked_of(READ, by_chest), by_chest) == "by tags ±1°"


@pytest.mark.parametrize(
    ("sources", "words"),
    [
        (None, "estimate ±4°"),
        ({"shoulder_turn_deg": Source.POSE}, "estimate ±4°"),
        ({"shoulder_turn_deg": Source.BRIDGED}, "tag hidden ±4°"),
    ],
)
def test_a_turn_no_tag_tells_is_an_estimate(sources, words):
    one = Measures(t_s=1.0, shoulder_turn_deg=88.0, shoulder_turn_se_deg=4.4, sources=sources)
    assert turn_caption(one, shown(one)) == words


def test_an_error_found_with_tags_on_this_player_is_said_to_be_the_players_own():
    one = Measures(t_s=1.0, shoulder_turn_deg=88.0, shoulder_turn_se_deg=4.4)
    step = replace(make_step(phase=Phase.BACKSWING, measures=one), own_turn_error=True)
    assert turn_caption(one, make_view(step=step)) == "your own ±4°"
    by_tag = replace(one, sources={"shoulder_turn_deg": Source.TAG})
    assert turn_caption(by_tag, make_view(step=step)) == "by tags ±4°"


def test_in_a_swing_the_line_at_the_foot_tells_the_other_turn_and_how_far_the_chest_opened():
    assert running_line(shown()) == "chest 79° ±1 by tags  ·  chest opened +28° ±1 by tags"
    assert running_line(shown(turn_of=TurnOf.CHEST)).startswith("shoulder line 88° ±4 ")
    assert "hander" in running_line(shown(phase=Phase.SETUP))


def test_where_the_target_is_about_the_chest_title_and_bar_are_the_chest_s():
    view = shown(turn_of=TurnOf.CHEST, target_deg=77.0)
    assert turn_title(view) == "chest turn"
    assert asked_of(READ, view).shoulder_turn_deg == 79.0
    assert turn_state(asked_of(READ, view), view) == "reached"
    assert turn_title(shown()) == "shoulder turn"
    assert turn_state(asked_of(READ, shown(target_deg=90.0)), shown(target_deg=90.0)) == "below"
